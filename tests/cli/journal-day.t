#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# What README.md shows of the journal is what happens: the transcript is run, line by line, from empty. So is its conversation.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use Jarside;
use Test::More;
use Text::ParseWords qw(shellwords);

my $readme = do { open(my $from, '<', project_root() . '/README.md') or die $!; local $/; <$from> };
my ($transcript) = $readme =~ /^## Keeping the journal\n.*?^```\n(.*?)^```$/ms;
ok($transcript, 'README.md has a transcript') or BAIL_OUT('no transcript');

my $folder = scratch();
my %env = (JARSIDE_JOURNAL => "$folder/journal.db");
my (@steps, $day);
for my $line (split /\n/, $transcript) {
    if ($line =~ /^# (\d{4}-\d\d-\d\d)$/) { $day = $1 }
    elsif ($line =~ /^\$ jarside (.+)$/) { push @steps, { day => $day, command => $1, shown => [] } }
    else { push @{ $steps[-1]{shown} }, $line }
}

# Each line shown is there, in this order; "[...]" stands for what was left out, and only for that.
sub shows {
    my ($step, $out) = @_;
    my @lines = split /\n/, $out;
    my $skips = 0;
    for my $line (@{ $step->{shown} }) {
        if ($line eq '[...]') { $skips = 1; next }
        shift @lines while $skips && @lines && $lines[0] ne $line;
        return "'$line' where '" . ($lines[0] // 'nothing') . "' stands" unless @lines && $lines[0] eq $line;
        shift @lines;
        $skips = 0;
    }
    return @lines && !$skips ? "left out: $lines[0]" : '';
}

for my $step (@steps) {
    $env{JARSIDE_NOW} = "$step->{day}T18:30:00+00:00";
    my ($status, $out, $err) = run(shellwords($step->{command}), { env => {%env} });
    is($status, 0, "jarside $step->{command}") or diag $err;
    is(shows($step, $out), '', 'shows what README.md says') or diag $out;
}

# From empty: a batch of 8, two looks, an isolate and a discard in under 12 short commands.
cmp_ok(scalar @steps, '<', 12, 'a day takes few commands');
cmp_ok(length $_->{command}, '<=', 68, "'$_->{command}' is short") for @steps;
my %count;
$count{ (split ' ', $_->{command})[0] }++ for @steps;
is($count{batch}, 1, 'one batch');
cmp_ok($count{look}, '>=', 2, 'two looks');
is($count{isolate} + $count{discard}, 2, 'an isolate and a discard');
$env{JARSIDE_NOW} = '2026-03-07T19:00:00+00:00';
my $list = json(qw(list --json), { env => {%env} });
is($list->{records}[0]{vessels}{vessels}, 8, 'the batch has eight vessels');
is($list->{records}[0]{vessels}{lost}, 1, 'and one is lost');

my ($conversation) = $readme =~ /^A conversation, shortened.*?^```\n(.*?)^```$/ms;
my @said = $conversation =~ /^> (.+)$/mg;
cmp_ok(scalar @said, '>', 1, 'README.md has a conversation');
$conversation =~ s/^[A-Z][^\n]*\?\n.*?(?=^> )/[...]\n/msg; # which question it asks depends on every figure of the rules
my (undef, $screen) = run({ in => join('', map { "$_\n" } @said) });
my $shown = join '.*', map { quotemeta(s/\s+/ /gr) } split /\[\.\.\.\]/, $conversation;
like($screen =~ s/\s+/ /gr, qr/\A.*$shown\z/, 'which goes as it says');

done_testing;
