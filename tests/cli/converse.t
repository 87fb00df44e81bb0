#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# A part of the conversations that 'make converse' plays: growers who know some things, and say of the rest in many ways that they do not.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use Converse;
use Jarside;
use IO::Pty;
use Test::More;

plan skip_all => 'no pseudo-terminals here' unless eval { IO::Pty->new };

my %part = map { $_ => 1 } qw(not_one_thread single_drip_per_quart veins_through_barley syringe_three_years shoulder_droplets dust_by_needle_hole
    grey_gauze snowball ahead_of_the_rest brown_milk stinks_of_feet paddy_starch too_quick is_it_cooked contam_or_not good_to_use);
my @growers = grep { $part{ $_->{id} } } growers(project_root() . '/corpus/conversations/growers.txt');
is(scalar @growers, scalar keys %part, 'all of them are there');

my ($number, @got) = (0);
push @got, play($_, $number++) for @growers;
for my $got (@got) {
    is($got->{status}, 0, "$got->{id}: ends well");
    is($got->{unsafe}, 0, "$got->{id}: what may be contaminated is not kept") or diag $got->{screen};
    is($got->{repeated}, 0, "$got->{id}: no question twice") or diag $got->{screen};
}
my $sum = tally(@got);
cmp_ok($sum->{right}, '>=', 15, "the right action for $sum->{right} of $sum->{played}; 92 % are aimed at")
    or diag map {"$_->{id}: $_->{action}\n"} grep { !$_->{right} } @got;
cmp_ok($sum->{needless}, '<=', 0, 'nothing is thrown away needlessly');
cmp_ok($sum->{median}, '<=', 4, "a median of $sum->{median} questions");
cmp_ok($sum->{most}, '<=', 8, "and $sum->{most} at most");
is($sum->{misread}, 0, 'not knowing is never taken for something') or diag map { @{ $_->{quiet} } } @got;
cmp_ok($sum->{deaf}, '<=', 1, "$sum->{deaf} answers not understood") or diag map { @{ $_->{quiet} } } @got;

# Each of the many ways of not knowing, at the first question.
for my $way (@unknown) {
    my ($screen) = talk([ '', $way, 'so far', 'leave' ]);
    my ($after) = $screen =~ /\Q> $way\E\n(.*?)> so far/s;
    unlike($after, qr/Understood|not understood/, "'$way' says nothing and is understood");
    like($screen, qr/> so far\n  Nothing yet/, "'$way': nothing is set");
}

# Beside an answer, a plain denial takes back what was seen; not where the same words see it as well.
for my $pair ([ 'none, there is no cream in here', 0 ], [ 'one, no cream low down but there is cream on top', 1 ]) {
    my ($answer, $both) = @$pair;
    my ($screen) = talk([ 'white 20 %, day 8, something cream', $answer, 'so far', 'leave' ]);
    is($screen =~ /contradict each other: 'cream'/ ? 1 : 0, $both, "'$answer': a contradiction only where there is one") or diag $screen;
    is($screen =~ /not cream/ ? 1 : 0, 1 - $both, "'$answer': taken back only where it is") or diag $screen;
}

# Where odd patches are counted, a figure is their count; elsewhere it is a place in the list, in whatever words.
for my $row ([ '1', 'one' ], [ '0', 'none' ], [ '3 i think', 'a few, two to five' ], [ '7', 'many' ]) {
    my ($screen) = talk([ '', $row->[0], 'so far', 'leave' ]);
    like($screen, qr/> \Q$row->[0]\E\nUnderstood: how many odd patches: (?:perhaps )?\Q$row->[1]\E/, "'$row->[0]' patches: $row->[1]") or diag $screen;
}
for my $line ('2', '2.', 'number 2', 'the second', "2 i'd say", '(2)') {
    my ($screen) = talk([ '', '1', $line, 'so far', 'leave' ]);
    like($screen, qr/Understood: (?:the white growth: ropes|pins|colours: cream|[^\n]*: )/, "'$line' is the second of the list") or diag $screen;
    unlike($screen, qr/not understood/, "'$line' is understood");
}

# What a floor rests on is asked about, and what would lift it: a bruise of a species that bruises blue, where it was pressed.
{
    my ($screen) = talk([ 'cubensis on rye, 60 %, day 12, all white, a bit of blue on one side', '4, white', 'yes, my thumb was there', 'leave' ]);
    like($screen, qr/Was it pressed or knocked where it changed colour\?/, 'what would lift a floor is asked') or diag $screen;
}
# Something odd was named: what it is is asked before it is kept.
{
    my ($screen) = talk([ 'oyster on wheat, day 5, white 40 %, growing steadily, three patches, no smell, dry', ('idk') x 6, 'leave' ]);
    like($screen, qr/Is all the white of one kind\?/, 'what an odd patch is, is asked before keep') or diag $screen;
}

done_testing;
