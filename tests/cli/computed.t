#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# What the figures of a case do to its causes: the cook, the mix, the warmth, the forecast, in `jarside judge`.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use Jarside;
use Test::More;

sub cause { my ($answer, $id) = @_; return (map { $_->{p} } grep { $_->{id} eq $id } @{ $answer->{causes} })[0] }
sub figure { my ($answer, $id) = @_; return (grep { $_->{cause} eq $id } @{ $answer->{computed} })[0] }
sub judged { return json(qw(judge --json), @_) }

my $seen = 'day 4, wet patch low in the jar, greasy grey grain';

subtest 'the cook' => sub {
    my $unknown = judged($seen);
    my $high = judged("$seen. cooked 45 minutes at 15 psi, we live at 1500 m, quart jars");
    my $low  = judged("$seen. cooked 180 minutes at 15 psi, we live at sea level, quart jars");
    like(figure($unknown, 'under_sterilised')->{say}, qr/cook is unknown/, 'unknown when it was not said');
    is(figure($unknown, 'under_sterilised')->{decibans}, 0, 'and moves nothing');
    cmp_ok(figure($high, 'under_sterilised')->{decibans}, '>', 0, 'short and high up: a stated weight for it');
    cmp_ok(figure($low, 'under_sterilised')->{decibans}, '<', 0, 'long and low: a stated weight against it');
    cmp_ok(cause($high, 'under_sterilised'), '>', cause($unknown, 'under_sterilised'), 'it is believed more');
    cmp_ok(cause($low, 'under_sterilised'), '<', cause($unknown, 'under_sterilised'), 'and less');
    like(figure($high, 'under_sterilised')->{say}, qr/steam 118\.3 degC, F0 \d/, 'the computation in one line');
    like(figure($high, 'under_sterilised')->{assumed}, qr/come-up/, 'and what it assumed');
};

subtest 'boiling steam' => sub {
    my $boiled = judged("$seen. steamed in boiling water for 90 minutes, quart jars");
    cmp_ok(figure($boiled, 'under_sterilised')->{decibans}, '>', 3, 'no pressure leaves spores');
};

subtest 'the mix' => sub {
    my $wet = judged('grain looks wet, day 5', '--set', 'dry_mass=500g', '--set', 'water_mass=600g');
    my $dry = judged('grain looks dry, day 12', '--set', 'dry_mass=500g', '--set', 'water_mass=220g');
    cmp_ok(figure($wet, 'too_wet')->{decibans}, '>', 0, 'far above the band');
    cmp_ok(figure($dry, 'too_dry')->{decibans}, '>', 0, 'far below it');
    like(figure($wet, 'too_wet')->{say}, qr/moisture \d+\.\d %; the band/, 'with the moisture');
};

subtest 'the warmth and the forecast' => sub {
    my $cold = judged('oyster, day 14, 30 percent white, clean, it is 14C in there, quart jar');
    cmp_ok(figure($cold, 'too_cold')->{decibans}, '>', 0, 'the cold explains the delay');
    like(figure($cold, 'too_cold')->{say}, qr/30 % white on day 14 .* was due/, 'against the forecast');
    my $fine = judged('oyster, day 14, 95 percent white, clean, it is 15C in there, quart jar');
    cmp_ok(figure($fine, 'too_cold')->{decibans}, '<', 0, 'white in spite of it: the cold has done no harm');
};

subtest 'a cold that came late' => sub {
    my $late = judged('oyster, day 20, since the heating failed it is 10C, white to 40 percent and standing still for 4 days, clean, quart jar');
    cmp_ok(figure($late, 'too_cold')->{decibans}, '>', 0, 'explains a stall of the last days, whatever it would have done to all of them');
};

subtest 'impossible speed' => sub {
    for my $words ('jar completely white on day 2', '100 percent fluff after 36 hours',
        'oyster from liquid culture, day 3, 80 percent white and fluffy') {
        my $fast = judged($words, '--neighbours', 0, '--use', 'fruit', '--worth', 50);
        isnt($fast->{action}, 'keep', "$words: not kept, whatever it is worth");
        ok((grep { $_->{sign} eq 'speed' && $_->{value} eq 'impossible' } @{ $fast->{understood} }), 'and why');
        my @moulds = grep { $_->{id} =~ /^(?:pale|pin|orange|cobweb)_mould$/ } @{ $fast->{findings} };
        my $p = 0;
        $p += $_->{p} for @moulds;
        cmp_ok($p, '>', 0.2, 'a fast mould is well possible');
    }
    for my $words ('oyster from grain spawn, day 6, fully white', 'oyster from liquid culture, day 8, 90 percent white',
        'day 3, 30 percent white', 'fully white on day 14', 'shiitake from agar, day 9, 50 percent white',
        'shiitake day 14 from agar fully white', 'cubensis on rye, day 10 from agar, 60%') {
        my $fine = judged($words);
        ok(!(grep { $_->{sign} eq 'speed' } @{ $fine->{understood} }), "$words: a culture can");
    }
};

done_testing;
