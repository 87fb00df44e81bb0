#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# Recording looks, of one vessel and of a batch, and judging at a vessel. All vessels are invented.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use Jarside;
use Test::More;

my $folder = scratch();
my %env = (JARSIDE_JOURNAL => "$folder/journal.db", JARSIDE_NOW => '2026-03-01T18:30:00+00:00');
sub on { $env{JARSIDE_NOW} = "$_[0]T18:30:00+00:00" }
sub in_journal { return run(@_, { env => {%env} }) }
sub answer { return json(@_, '--json', { env => {%env} }) }

sub refused {
    my ($title, $pattern, @args) = @_;
    my ($status, $out, $err) = in_journal(@args);
    is($status, 2, "$title: exit 2");
    like($err =~ s/\s+/ /gr, $pattern, "$title: says why");
    is($out, '', "$title: and nothing else");
}

sub looks { return scalar split /\n/, (in_journal(qw(list looks)))[1] }

is((in_journal(qw(batch 8 quart jars rye oyster 15 psi 90 min --place closet --controls 1)))[0], 0, 'a batch');
on('2026-03-09');

subtest 'one vessel' => sub {
    my ($status, $out) = in_journal('look', 'b1-2', '40 percent, thick white, nothing odd');
    is($status, 0, 'recorded');
    like($out, qr/^B1-2, day 8, oyster on rye/, 'the vessel is named');
    like($out, qr/^Keep: most likely /m,                     'what to do');
    like($out, qr/^Saved: look 1 at B1-2; next look 1[0-9] March \([a-z ]+\)\.$/m, 'what was saved, and when to look again');
    my $look = answer('look', 'B1-2', '45 percent, thick white, nothing odd');
    is($look->{look}, 2, 'looks are numbered');
    is($look->{vessel}, 'B1-2', 'JSON names the vessel');
    like($look->{next_look}, qr/^2026-03-\d\d$/, '... and the day of the next look');
    my %from = map { $_->{sign} => $_ } @{ $look->{understood} };
    is($from{cook_minutes}{origin}, 'journal', 'what the journal says is marked as such');
    like($from{cook_minutes}{from}, qr/^cook C1: /, '... with where it stands');
    is($from{coverage}{origin}, 'text', 'what was said now as well');
    my $earlier = answer('look', 'B1-4', '10 percent, thick white, nothing odd', '--at', '2026-03-05');
    is($earlier->{at}, '2026-03-05T12:00:00+00:00', 'a look made earlier');
};

subtest 'what cannot be recorded' => sub {
    refused('no vessel',       qr/which vessel/,                   'look');
    refused('unknown vessel',  qr/B1-77/,                          'look', 'B1-77', 'green');
    refused('nothing said',    qr/what was seen is missing.*B1-3/, 'look', 'B1-3');
    refused('nothing said to a batch', qr/what was seen is missing/, 'look', 'B1');
    refused('no input',        qr/what was seen is missing/,       'look', 'B1-3', '--no-input');
    refused('nonsense',        qr/says nothing about the vessel/,  'look', 'B1-3', 'the quick lorry');
    refused('before its time', qr/was not there yet/,              'look', 'B1-3', 'green', '--at', '2026-02-01');
    refused('in the future',   qr/future/,                         'look', 'B1-3', 'green', '--at', '2027-02-01');
    refused('no such look',    qr/look 99 is not one of B1-3/,     'look', 'B1-3', 'green', '--corrects', '99');
    refused('no number',       qr/not a whole number/,               'look', 'B1-3', 'green', '--corrects', 'x');
    refused('one that is not there', qr/no vessel 77 in B1; nothing was saved/, 'look', 'B1', 'all fine except 77');
    refused('unreadable',      qr/which vessels are meant by 'third one'/,             'look', 'B1', 'all fine except the third one');
    refused('said of all, but nothing', qr/says nothing about a vessel \(B1-1 to B1-9\); nothing was saved/, 'look', 'B1', 'the quick lorry');
};

subtest 'a whole batch' => sub {
    on('2026-03-12');
    my $all = answer('look', 'B1', 'all fine except 3, 5-6: green powdery patch; 7', '--yes');
    is_deeply([map { $_->{vessel} } @{ $all->{looks} }], [qw(B1-3 B1-5 B1-6 B1-1 B1-2 B1-4 B1-8 B1-9)], 'who was looked at');
    my %action = map { $_->{vessel} => $_->{action} } @{ $all->{looks} };
    is($action{"B1-$_"}, 'discard', "B1-$_ was described") for 3, 5, 6;
    is_deeply($all->{to_describe}, ['B1-7'], 'who is still to be described');
    is_deeply($all->{not_covered}, [], 'nobody is left out yet');
    my ($one) = grep { $_->{vessel} eq 'B1-1' } @{ $all->{looks} };
    my ($batch) = grep { $_->{scope} eq 'mix' } @{ $one->{siblings} };
    is($batch->{lost}, 3, 'the rest are judged knowing of the lost ones');
    ok((grep { $_->{vessel} eq 'B1-9' } @{ $all->{looks} }), 'the control is looked at with the others');
};

subtest 'nothing is cleared in passing' => sub {
    on('2026-03-15');
    in_journal(qw(isolate B1-8));
    my $all = answer('look', 'B1', 'all fine');
    my %covered = map { $_ => 1 } @{ $all->{not_covered} };
    ok($covered{"B1-$_"}, "B1-$_ is not covered") for 3, 5, 6, 8;
    my ($status, $out) = in_journal('look', 'B1', 'all fine');
    like($out =~ s/\s+/ /gr, qr/Not covered: B1-3.*needs its own check/, 'and said so');
    my $later = answer('look', 'B1-3', '100 percent, thick white, no green, nothing odd');
    is($later->{action}, 'discard', 'what was once seen to hold powder stays to be discarded');
    my ($green) = grep { $_->{sign} eq 'colour' && $_->{value} eq 'green' } @{ $later->{understood} };
    ok($green->{seen}, 'the green is remembered');
    is($green->{from}, 'look of 12 March', '... with the day on which it was seen');
    ($status, $out) = in_journal('look', 'B1-3', '100 percent, thick white');
    like($out =~ s/\s+/ /gr, qr/Seen before, and it still counts: powdery or dusty, green \(look of 12 March\)/, 'in words too');
};

subtest 'judging at a vessel saves nothing' => sub {
    my ($status, $before) = in_journal(qw(judge --vessel B1-1 --json));
    is($status, 0, 'without words: what is on record is judged');
    my $verdict = answer('judge', '--vessel', 'B1-1', '50 percent, thick white');
    my ($cook) = grep { $_->{scope} eq 'cook' } @{ $verdict->{siblings} };
    is($cook->{group}, 'cook C1', 'siblings have a name');
    is($cook->{lost}, 3, '... a count');
    ok(@{ $cook->{aliased_with} } > 0, '... what cannot be told from them');
    ok((grep { abs($_->{decibans}) > 0 } @{ $cook->{causes} }), '... and a weight');
    my $alone = answer('judge', '--vessel', 'B1-1', '50 percent, thick white', '--without-siblings');
    is_deeply($alone->{siblings}, [], 'without them there are none');
    isnt($verdict->{status}{contaminated}, $alone->{status}{contaminated}, '... and the verdict differs');
    my $again = answer('judge', '--vessel', 'B1-1', '50 percent, thick white');
    is_deeply($again, $verdict, 'and nothing was saved');
    my ($explained, $out) = in_journal('judge', '--vessel', 'B1-1', '50 percent', '--explain');
    like($out =~ s/\s+/ /gr, qr/What the other vessels say.* 3 of (?:about )?\d+ others from cook C1 were lost/, 'the explanation counts them, and counts are whole');
    like($out =~ s/\s+/ /gr, qr/always went together with/, '... and says what the counts cannot tell apart');
    refused('not with --lines', qr/--vessel goes with a description/, qw(judge --vessel B1-1 --lines));
    refused('unknown vessel', qr/B1-77/, qw(judge --vessel B1-77 green));
};

subtest 'the conversation' => sub {
    plan skip_all => 'no pseudo-terminals here' unless eval { require IO::Pty; IO::Pty->new };
    my $journal = { env => { %env, TERM => 'dumb' }, args => ['look', 'B1-4'] };
    my ($screen) = talk(['70 percent, thick white, nothing odd', "\cD"], $journal);
    like($screen, qr/B1-4, day 14, oyster on rye; last look 15 March: keep/, 'the vessel and its record stand above');
    like($screen, qr/Nothing was saved for B1-4\./, '^D saves nothing and says so');
    unlike($screen, qr/How many days since/, 'what the journal knows is not asked');
    ($screen) = talk(['70 percent, thick white, nothing odd', 'leave'], $journal);
    like($screen, qr/Saved: look \d+ at B1-4; next look/, 'leaving saves the look');
    ($screen) = talk(['leave'], $journal);
    like($screen, qr/Nothing was saved for B1-4\./, 'leaving without a word saves nothing');
    ($screen) = talk(['one odd patch, white, 30 percent', 'leave'], { %$journal, args => ['look', 'B1', 'all fine except 7'] });
    like($screen, qr/Still to be described: B1-7.*B1-7, day 14.*Saved: look \d+ at B1-7/s, 'the excepted are asked one by one');
};

done_testing;
