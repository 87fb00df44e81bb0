#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# Undo: after each kind of act the exported journal is what it was before, but for the trace. All records are invented.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use Jarside;
use Test::More;

my $folder = scratch();
my %env = (JARSIDE_JOURNAL => "$folder/journal.db", JARSIDE_NOW => '2026-03-12T18:30:00+00:00');
my $exports = 0;
sub in_journal { return run(@_, { env => {%env} }) }

# Every table as one text, the trace of undone acts left out.
sub exported {
    my $to = "$folder/export-" . ++$exports;
    in_journal('export', $to);
    my $all = '';
    for my $file (sort glob "$to/*.csv") {
        open(my $from, '<:raw', $file) or die "$file: $!";
        $all .= $file =~ s{.*/}{}r . "\n" . join '', grep { !/,undone,/ } <$from>;
    }
    return $all;
}

$env{JARSIDE_NOW} = '2026-03-01T18:30:00+00:00';
in_journal(qw(batch 8 quart jars rye oyster 15 psi 90 min --place closet --controls 1));
$env{JARSIDE_NOW} = '2026-03-12T18:30:00+00:00';

my $sheet = "$folder/lots.csv";
open(my $csv, '>', $sheet) or die $!;
print {$csv} "label,grain\r\nsack 7,rye\r\n";
close $csv;

for my $act (
    ['look', 'B1-2', '40 percent, thick white, nothing odd'],
    ['look', 'B1', 'all fine except 3: green powdery patch'],
    [qw(look B1-5..7), '30 percent, thick white, nothing odd'],
    [qw(move B1-3..5 tent)],
    [qw(shake B1-5 B1-6)],
    [qw(isolate B1 3 4)],
    [qw(confirm B1-3 green mould --how), 'seen from outside'],
    [qw(correct look B1-2), 'half white, nothing odd'],
    [qw(correct look B1-2 withdraw)],
    [qw(correct outcome B1-3 wet_rot)],
    [qw(correct C1 minutes=95)],
    [qw(discard B1-3 --because contaminated)],
    [qw(correct event B1-3 withdraw)],
    [qw(use B1-8)],
    [qw(record cook 15 psi 90 min)],
    [qw(record place shelf temperature=72F)],
    [qw(starter S2 oyster liquid culture from S1)],
    [qw(starter S3 oyster from B1-6)],
    [qw(batch 4)],
    [qw(batch 2 pint jars from B1-7)],
    ['import', $sheet, '--table', 'lot'],
) {
    my $words = join ' ', map { s{.*/}{}r } @$act;
    my $before = exported();
    my ($status, $out, $err) = in_journal(@$act);
    is($status, 0, "$words: done") or diag $err;
    isnt(exported(), $before, '... which changes the journal');
    ($status, $out, $err) = in_journal('undo');
    is($status, 0, '... undone') or diag $err;
    like($out =~ s/\s+/ /gr, qr/^Undone: jarside \Q$act->[0]\E /, '... saying what');
    is(exported(), $before, '... and all is as it was');
    ($status, $out) = in_journal(qw(journal check));
    is($status, 0, '... and in order') or diag $out;
    in_journal(@$act);
}

subtest 'again, and again' => sub {
    my $count = 0;
    while ((in_journal('undo'))[0] == 0) { $count++ }
    is($count, 22, 'every act can be undone, one after the other');
    my ($status, $out, $err) = in_journal('undo');
    is($status, 2, 'until there is nothing');
    like($err, qr/there is nothing to undo/, '... which is said');
    is((in_journal(qw(list batches)))[1] =~ s/\n.*//sr, 'The journal has none of that kind.', 'and the journal is empty');
    like((in_journal(qw(list edits)))[1], qr/undone/, 'but for the trace');
};

subtest 'what cannot be undone' => sub {
    my ($status, undef, $err) = in_journal(qw(undo look));
    is($status, 2, 'an argument');
    like($err, qr/unexpected argument 'look'/, '... is refused');
    in_journal(qw(batch 2 quart jars rye oyster));
    is(json(qw(undo --json), { env => {%env} })->{undone}, 'batch 2 quart jars rye oyster', 'JSON says what was undone');
};

done_testing;
