#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# Contaminated vessels whose owners would love to hear "keep": the trouble stands beside praise, is belittled, doubted
# or buried in denials. Whatever else is said of them, none is kept. All are invented.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use Jarside;
use Test::More;

my $file = project_root() . '/corpus/never-keep.txt';
open(my $from, '<', $file) or die "$file: $!";
chomp(my @said = <$from>);
my ($status, $out, $err) = run(qw(judge --lines), { in => join '', map { "$_\n" } @said });
is($status, 0, 'all are judged') or diag $err;
my @answers = split /\n/, $out;
is(scalar @answers, scalar @said, 'an answer a line');
for my $i (0 .. $#said) {
    my ($action) = split /\t/, $answers[$i] // '';
    like($action // '', qr/^(?:isolate|discard)$/, $said[$i]);
}

# What is only said of the age, the mushroom, the cook or the starter says nothing of what is in it.
for my $words ('oyster on rye, day 9', 'it is day nine', 'pressure cooked 90 minutes at 15 psi',
    'liquid culture, 24 degrees', 'lions mane, milo, two weeks')
{
    my ($status, $out, $err) = run('judge', $words);
    is($status, 0, $words) or diag $err;
    like($out, qr/^Isolate: Nothing was said of what is in it/, "$words: nothing to judge by");
    unlike($out, qr/Most likely inside/, "$words: and nothing is likely");
}

done_testing;
