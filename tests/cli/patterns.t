#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# A pattern that backtracks without end, wherever a rule base may hold one: `rules check` warns of it with its file and
# line; whatever reads text comes to an end all the same and says which pattern was stopped, on which words.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use Jarside;
use Test::More;

my $scratch = scratch();
my $tiny    = project_root() . '/tests/unit/tiny-rules';
my $evil    = '(?:z+ ?)+q';
my $long    = 'red ' . 'z' x 60 . 'qy spots 3 days old';    # a word must not go on behind a phrase: every way to part the letters is tried

sub spew { my ($file, $bytes) = @_; open(my $to, '>:raw', $file) or die "$file: $!"; print {$to} $bytes; close $to; return $file }
sub in_time {
    my @args   = @_;
    my @result = eval { local $SIG{ALRM} = sub { die "endless\n" }; alarm 60; my @result = run(@args); alarm 0; @result };
    alarm 0;
    return @result ? @result : ('endless', '', '');
}

# Each place: its file in the small rules, and what of it is changed to what.

my $pattern = "{pattern: '$evil'}";
my %places  = (
    'a value'           => [ 'observed.yaml', q('{reddish} ... {spot}', 'red'),         qq($pattern, 'red') ],
    'a number'          => [ 'observed.yaml', q('{q} old'),                             qq({pattern: '$evil {q}'}) ],
    'a negation'        => [ 'language.yaml', q(negations: ['no', not]),                qq(negations: ['no', $pattern]) ],
    'a hedge'           => [ 'language.yaml', q(hedges: [maybe]),                       qq(hedges: [$pattern]) ],
    'a break'           => [ 'language.yaml', q(breaks: [but]),                         qq(breaks: [$pattern]) ],
    'words without use' => [ 'language.yaml', q(ignore: [the, a]),                      qq(ignore: [the, $pattern]) ],
    'an alternative'    => [ 'language.yaml', q(alternatives: [or]),                    qq(alternatives: [or, $pattern]) ],
    'a statement'       => [ 'language.yaml', q(phrases: ['all [is] fine', 'no {spot}']), qq(phrases: ['all fine', $pattern]) ],
    'a species'         => [ 'base.yaml',     q(phrases: [birch]),                      qq(phrases: [$pattern]) ],
    'a grain'           => [ 'base.yaml',     q(phrases: [corn]),                       qq(phrases: [$pattern]) ],
    'a vessel'          => [ 'base.yaml',     q(phrases: [pot]),                        qq(phrases: [$pattern]) ],
);

for my $place (sort keys %places) {
    my ($name, $from, $to) = @{ $places{$place} };
    system('rm', '-rf', "$scratch/rules");
    system('cp', '-R', $tiny, "$scratch/rules") == 0 or die 'cp';
    open(my $file, '<:raw', "$scratch/rules/$name") or die $!;
    my $text = do { local $/; <$file> };
    my $at = index $text, $from;
    cmp_ok($at, '>', 0, "$place: there") or next;
    my $line = 1 + (substr($text, 0, $at) =~ tr/\n//);
    substr($text, $at, length $from) = $to;
    spew("$scratch/rules/$name", $text);
    my $env = { JARSIDE_RULES => "$scratch/rules" };

    my ($status, $out, $err) = in_time(qw(rules check), { env => $env });
    is($status, 0, "$place: a warning is no fault") or diag $err;
    my $where = qr/\Q$name\E:$line:\d+: /;
    like($err, qr/${where}warning: the pattern '[^']*\Q$evil\E[^']*' tries too many ways/, "$place: rules check warns, and says where");

    ($status, $out, $err) = in_time('judge', $long, { env => $env });
    is($status, 0, "$place: a description is judged") or diag $err;
    my $said = qr/\Q$name\E:$line/;
    my $shown = ($out . $err) =~ s/\s+/ /gr;
    like($shown, $said, "$place: and told which pattern was stopped");
    ($status, $out, $err) = in_time(qw(judge --json), $long, { env => $env });
    like($out, $said, "$place: as JSON, too");
    ($status, $out, $err) = in_time({ in => "$long\n$long\n1\n$long\nverdict\n", env => $env });
    is($status, 0, "$place: a conversation comes to its end") or diag $err;
    ($status, $out, $err) = in_time(qw(judge --lines), { in => "$long\nred\n" x 3, env => $env });
    is(scalar(() = $out =~ /\n/g), 6, "$place: each line has its answer") or diag $err;
}

subtest 'a spreadsheet is read with them' => sub {
    my $env   = { JARSIDE_RULES => "$scratch/rules", JARSIDE_NOW => '2026-03-20T18:00:00Z' };
    my $sheet = spew("$scratch/sheet.csv", "Run,No,Date,Result,Seen\nR1,1,2026-03-01,$long,2026-03-09\nR1,2,2026-03-01,fine,2026-03-09\n");
    my $map   = spew("$scratch/map.yaml", "columns: {batch: Run, number: No, inoculated: Date, result: Result, ended: Seen}\nsame: {species: amber}\nvalues: {result: {fine: used}}\n");
    my ($status, $out, $err) = in_time('import', $sheet, '--guess', '--journal', "$scratch/j.db", { env => $env });
    is($status, 0, 'a map is guessed') or diag $err;
    ($status, $out, $err) = in_time('import', $sheet, '--map', $map, '--dry-run', '--journal', "$scratch/j.db", { env => $env });
    is($status, 65, 'what cannot be read is refused, row by row');
};

done_testing;
