#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# Pairs of descriptions that differ in one bad sign: what gives the sound one the benefit of the doubt must not give it
# to the other. The sound one is not thrown away, the bad one never kept. All are invented.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use Jarside;
use Test::More;

my $file = project_root() . '/corpus/twins.tsv';
open(my $from, '<', $file) or die "$file: $!";
my @pairs = map { chomp; [ split /\t/ ] } grep { !/^#/ } <$from>;
cmp_ok(scalar @pairs, '>=', 25, 'enough pairs');
my ($status, $out, $err) = run(qw(judge --lines), { in => join '', map { "$_->[0]\n$_->[1]\n" } @pairs });
is($status, 0, 'all are judged') or diag $err;
my @actions = map { (split /\t/)[0] } split /\n/, $out;
is(scalar @actions, 2 * @pairs, 'an answer a line');
for my $i (0 .. $#pairs) {
    like($actions[ 2 * $i ] // '', qr/^(?:keep|isolate)$/, $pairs[$i][0]);
    like($actions[ 2 * $i + 1 ] // '', qr/^(?:isolate|discard)$/, $pairs[$i][1]);
}

done_testing;
