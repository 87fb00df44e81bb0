#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# What is due, on the screen and on paper, and labels. All batches are invented.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use Jarside;
use Test::More;

my $folder = scratch();
my %env = (JARSIDE_JOURNAL => "$folder/journal.db", JARSIDE_NOW => '2026-03-01T18:30:00+00:00');
sub on { $env{JARSIDE_NOW} = "$_[0]T18:30:00+00:00" }
sub answer { return json(@_, '--json', { env => {%env} }) }
sub page { my ($status, $out) = run(@_, { env => {%env} }); is($status, 0, "@_: fine"); return $out }
sub content { open(my $from, '<:raw', $_[0]) or return ''; local $/; return <$from> }

my $first = answer(qw(batch 8 quart jars rye oyster 15 psi 90 min --place closet --controls 1))->{first_look};

subtest 'nothing yet' => sub {
    my $due = answer('due');
    is_deeply($due->{due}, [], 'nothing on the day itself');
    is($due->{next}, $first, 'the next one is named');
    like(page('due'), qr/Nothing is due\. The next look is \Q$first\E/, 'and told');
};

subtest 'the first look' => sub {
    my $due = answer('due', '--by', $first)->{due};
    is(scalar @$due, 1, 'vessels of a batch stand together');
    is(scalar @{ $due->[0]{vessels} }, 9, 'all of them, with the control');
    is($due->[0]{why}, 'first look', 'with the reason');
    cmp_ok($due->[0]{shake_from}, 'le', $due->[0]{full_from}, 'and what the forecast has');
};

subtest 'overdue first' => sub {
    page(qw(isolate B1-3 --at 2026-03-08)) if on('2026-03-09');
    answer(qw(batch 2));
    my $due = answer(qw(due --by 2026-03-20))->{due};
    is($due->[0]{due}, $first, 'what is overdue comes first');
    cmp_ok($due->[0]{overdue_days}, '>', 0, 'by so many days');
    is_deeply([grep { $_ eq 'B1-3' } @{ $due->[0]{vessels} }], [], 'an isolated vessel has a day of its own');
    is($due->[1]{due}, '2026-03-10', 'two days after');
    like(page(qw(due --by tomorrow)), qr/\AOverdue since \Q$first\E.*B1-1, B1-2, B1-4 to B1-9: first look.*Due tomorrow.*B1-3: isolated.*jarside look B1-1/s,
        'told in runs');
    is(answer(qw(due --limit 2))->{more}, 6, 'a long list is cut, and says so');
};

subtest 'what is gone is not due' => sub {
    page(qw(discard B1-1));
    page(qw(use B1-2));
    unlike(join(',', map { @{ $_->{vessels} } } @{ answer(qw(due --by 2026-04-01))->{due} }), qr/B1-[12]\b/,
        'neither discarded nor used');
};

subtest 'on paper' => sub {
    like(page(qw(due --sheet)), qr/Do not open, shake or smell.*\[ \] B1-4, closet/s, 'plain text with boxes');
    page('due', '--html', "$folder/due.html", '--paper', 'letter');
    my $html = content("$folder/due.html");
    like($html, qr/size: letter/, 'a page of that paper');
    like($html, qr/<td>B1-4<\/td><td>closet<\/td>/, 'with the vessels');
    unlike($html, qr/<script|https?:/, 'and nothing from elsewhere');
    is_deeply([glob "$folder/due.html.*"], [], 'nothing is left beside it');
    my ($status, $out, $err) = run('due', '--html', "$folder/due.html", { env => {%env} });
    is($status, 74, 'a page that exists');
    like($err, qr/due\.html.*exists/, 'is not replaced');
    is(content("$folder/due.html"), $html, 'and is as it was');
    page('due', '--html', "$folder/due.html", '--force');
    like(content("$folder/due.html"), qr/size: A4/, 'but with --force');
    ($status, $out, $err) = run('due', '--html', "$folder/none/due.html", { env => {%env} });
    is($status, 74, 'a folder that is not there');
    like($err, qr/cannot be /, 'is said');
    is((run(qw(due --paper a5), { env => {%env} }))[0], 2, 'no such paper');
};

subtest 'labels' => sub {
    my $labels = page(qw(labels B1 4-5));
    like($labels, qr/\| B1-4   2026-03-01 .*\| B1-5/, 'side by side');
    like($labels, qr/oyster on rye/, 'with what is in it');
    like(page(qw(labels B1-9)), qr/control, not inoculated/, 'a control says so');
    is_deeply(answer('labels')->{labels}, [qw(B2-1 B2-2)], 'of the newest batch when none is named');
    page('labels', 'B1', '--html', "$folder/labels.html");
    my @count = content("$folder/labels.html") =~ /<section>/g;
    is(scalar @count, 9, 'one each on the page');
    like(content("$folder/labels.html"), qr/size: A4/, 'A4 when nothing is said');
    my @again = ('labels', 'B1', '--paper', 'letter', '--html', "$folder/labels.html");
    is((run(@again, { env => {%env} }))[0], 74, 'a page that exists is not replaced');
    page(@again, '--force');
    like(content("$folder/labels.html"), qr/size: letter/, 'but with --force');
};

subtest 'hostile names on a page' => sub {
    page(qw(move B1-4), '<b onload="x">&\'');
    page('due', '--html', "$folder/hostile.html");
    my $html = content("$folder/hostile.html");
    like($html, qr/&lt;b onload=&quot;x&quot;&gt;&amp;&#39;/, 'are text');
    unlike($html, qr/<b /, 'and no markup');
};

done_testing;
