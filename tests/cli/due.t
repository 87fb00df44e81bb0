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
    is_deeply(answer('due', split / /, $first)->{due}, $due, 'the day without --by');
    is_deeply(answer('due', 'tomorrow'), answer(qw(due --by tomorrow)), 'or in a word');
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

subtest 'what is known of a vessel stands before what was planned' => sub {
    local $env{JARSIDE_JOURNAL} = "$folder/known.db";
    on('2026-03-01');
    page(qw(batch 4 quart jars rye oyster 15 psi 90 min --label B1));
    on('2026-03-09');
    page('look', 'B1', 'no growth at all yet');
    is($_->{why}, 'first growth', 'nothing to shake where a look saw no growth, whatever was forecast') for @{ answer(qw(due --by 2026-04-01))->{due} };
    unlike(page(qw(due --by 2026-04-01)), qr/shake/, 'nor is a shake foretold for a day that has passed');
    like(page(qw(shake B1-1)), qr/The last look at B1-1 said that nothing grows yet/, 'who shakes one is told');
    page(qw(undo));
    page(qw(confirm B1-3 wet rot));
    page(qw(isolate B1-3));
    on('2026-03-30');
    my ($lost) = grep { "@{ $_->{vessels} }" eq 'B1-3' } @{ answer('due')->{due} };
    is("$lost->{why} $lost->{due}", 'discard 2026-03-09', 'what was confirmed as lost is to be discarded, since that day');
    like(page('due'), qr/^  B1-3: discard; oyster on rye, day 29\.\n(?!    )/m, 'by itself, and nothing is foretold of it');
    page(qw(correct outcome B1-3 withdraw));
    unlike(page('due'), qr/discard/, 'until that is withdrawn');
    page(qw(confirm B1-3 wet rot));
    page(qw(discard B1-3));
    unlike(page('due'), qr/B1-3/, 'and gone is gone');
    on('2026-03-09');
};

subtest 'on paper' => sub {
    like(page(qw(due --sheet)), qr/Do not open, shake or smell.*c: a\s+control.*
B1-4 to B1-9: first look, \d{4}-\d\d-\d\d\n  oyster on rye, day \d+, at closet\n(?:  .*\n)*  keep     \[_\]4 \[_\]5 \[_\]6 \[_\]7 \[_\]8 \[_\]9c\n  isolate  \[_\]4 .*\n  discard  .*\n  seen     _+\n/s,
        'plain text: a batch in a row, a box for each verdict and vessel, the control marked, a line for words');
    page('due', '--html', "$folder/due.html", '--paper', 'letter');
    my $html = content("$folder/due.html");
    like($html, qr/size: letter/, 'a page of that paper');
    like($html, qr/<thead>.*Do not open.*scope="col">keep<.*scope="col">discard<.*<\/thead>/s, 'with a heading that every page repeats');
    like($html, qr/<th scope="row">B1-4 to B1-9\s.*day \d+, at closet.*fully colonised \d.*<td title="keep">\s*<span><b><\/b>4\s*<\/span>.*<b><\/b>9c\s*<\/span>\s*<\/td>/s, 'and the vessels');
    like($html, qr/name="viewport".*color: CanvasText.*\@media print \{ :root \{ color-scheme: light/s, 'for a telephone, a dark screen and paper');
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
    my $page = content("$folder/labels.html");
    my @count = $page =~ /<section>/g;
    is(scalar @count, 9, 'one each on the page');
    my @codes = $page =~ /aria-label="QR code">(.*?)<\/svg>/g;
    is(scalar @codes, 9, 'each with a code of its own');
    is(scalar keys %{ { map { $_ => 1 } @codes } }, 9, 'all different');
    like($page, qr/<h2>B1-4<\/h2>\s*<p>oyster on rye<\/p>\s*<p>2026-03-01 /, 'label, species and date');
    # Sizes as they are printed on the packets of label sheets: common practice, no source.
    my %sheets = ('63.5x38.1' => [ 'A4', 3, 63.5, 38.1, 2.5, 15.15, 21 ], '70x37' => [ 'A4', 3, 70, 37, 0, 0.5, 24 ],
        '66.7x25.4' => [ 'letter', 3, 66.675, 25.4, 3.175, 12.7, 30 ]);
    for my $name (sort keys %sheets) {
        my ($paper, $across, $width, $height, $gap, $top, $room) = @{ $sheets{$name} };
        my $sheet = page('labels', 'B1', '--sheet', $name, '--html', '-', '--skip', $room - 4);
        like($sheet, qr/size: $paper;.*repeat\($across, ${width}mm\); grid-auto-rows: ${height}mm; column-gap: ${gap}mm;.*padding-top: ${top}mm/s, "$name: its measures");
        like($sheet, qr/<main>\n(?:<i><\/i>){@{[ $room - 4 ]}}(?:<section>(?:(?!<main>).)*){4}<main>(?:(?!<main>).)*B1-9/s, "$name: a sheet begun goes on, then the next");
        is((run('labels', 'B1', '--sheet', $name, '--html', '-', '--skip', $room, { env => {%env} }))[0], 65, "$name: no sheet has more");
    }
    unlike($page, qr/; outline/, 'no lines on labels');
    like(page(qw(labels B1 --html - --cut)), qr/; outline/, 'but to cut along, if wanted');
    my @again = ('labels', 'B1', '--paper', 'letter', '--html', "$folder/labels.html");
    is((run(@again, { env => {%env} }))[0], 74, 'a page that exists is not replaced');
    page(@again, '--force');
    like(content("$folder/labels.html"), qr/size: letter/, 'but with --force');
};

subtest 'a picture of the run' => sub {
    page(qw(batch 10 jars rye oyster --starter S9 --at 2026-02-20 --label R1));
    page('look', 'R1', 'white and clean, 60 percent covered', '--at', '2026-03-03');
    page(qw(shake R1-1 R1-2 R1-3 --at 2026-03-04));
    my $life = page(qw(history R1));
    like($life, qr/^2026-03-03  day 11 +R1-1 to R1-10: looks \d+ to \d+, keep: /m, 'what was said alike of ten jars is one line');
    like($life, qr/^2026-03-04  day 12 +R1-1 to R1-3: broken and shaken \(events \d+ to \d+\)/m, 'and what was done alike');
    like($life, qr/% colonised\n(?: .*\|.*\n)+.*\bO\b.*\n/, 'coverage is drawn');
    like($life, qr/slowest and fastest\n.*most likely\n.*O seen/, 'over the forecast');
    cmp_ok(scalar(split /\n/, $life), '<', 50, 'ten jars need no hundred lines');
    like(page(qw(history R1-4)), qr/O seen/, 'of one vessel too');
    page('look', 'R1-4', 'fully colonised, all white', '--at', '2026-03-08');
    like(page(qw(history R1-4)), qr/^ +100 \|.*O/m, 'where it was told in words, too');
    my $page = page(qw(history R1 --html -));
    like($page, qr/<path class="band" d="M[\d. L]+z"\/>\n<path class="curve".*class="strong">O<\/text>/s, 'the same on a page');
    like($page, qr/<th scope="col">what happened<.*<th scope="row">2026-03-03  ?day 11<.*R1-1 to R1-10.*<th scope="row">R1-10</s, 'with what happened and the vessels');
    is((run(qw(history S9 --html -), { env => {%env} }))[0], 2, 'a starter has no run');
};

subtest 'hostile names on a page' => sub {
    page(qw(move --new B1-4), '<b onload="x">&\'');
    page('due', '--html', "$folder/hostile.html");
    my $html = content("$folder/hostile.html");
    like($html, qr/&lt;b onload=&quot;x&quot;&gt;&amp;&#39;/, 'are text');
    unlike($html, qr/<b /, 'and no markup');
};

done_testing;
