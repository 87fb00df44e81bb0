#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# `jarside forecast`: days and dates with a band, pace, temperature logs, refusals.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use Jarside qw(:DEFAULT refused);
use Test::More;

my @bag = qw(forecast --species oyster --inoculum 4ml --vessel bag:1.36kg);
my $corpus = project_root() . '/corpus/process';

subtest 'a bag of oyster' => sub {
    my $warm = json(@bag, qw(--temp 24C --json));
    my $cold = json(@bag, qw(--temp 15C --json));
    my $full = $warm->{full_days}{central};
    ok($full >= 10 && $full <= 21, 'white through in 10 to 21 days') or diag $full;
    ok($warm->{full_days}{low} < $full && $full < $warm->{full_days}{high}, 'with a band');
    ok($cold->{full_days}{central} > 1.5 * $full, 'clearly later at 15 degC');
    ok($warm->{first_growth_days}{central} < $warm->{shake_days}{central}, 'growth before the shake');
    ok($warm->{shake_days}{central} < $full, 'the shake before full');
    my @days = @{ $warm->{days} };
    is($days[0]{central}, 0, 'nothing on day 0');
    ok(!(grep { $days[$_]{central} < $days[ $_ - 1 ]{central} - 1e-9 } 1 .. $#days), 'coverage never falls');
    ok(!(grep { $_->{low} > $_->{central} + 1e-9 || $_->{central} > $_->{high} + 1e-9 } @days), 'the band holds the middle');
    ok(json(@bag, qw(--temp 24C --shake 6 --json))->{full_days}{high} < $warm->{full_days}{high}, 'a shake in time helps the slow end');
    is(json(@bag, qw(--temp 2C --json))->{full_days}{central}, undef, 'never at 2 degC');
};

subtest 'pace' => sub {
    my $on_time = json(@bag, qw(--temp 24C --day 7 --seen 50% --json))->{seen};
    is($on_time->{pace}, 'on time', 'on time');
    my $stalled = json(@bag, qw(--temp 24C --day 40 --seen 10% --json))->{seen};
    is($stalled->{pace}, 'stalled', 'stalled');
    is(json(@bag, qw(--temp 24C --day 4 --seen 90% --json))->{seen}{pace}, 'ahead', 'ahead');
    my $still = json(@bag, qw(--temp 24C --day 12 --seen 60% --still 8 --json))->{seen};
    is($still->{pace}, 'stalled', 'a week without a change while growth was due');
    is(scalar(@{ $stalled->{reasons} }), 4, 'four inputs are weighed');
    ok(!$stalled->{explained}, 'and none explains six weeks');
};

subtest 'a log of the closet' => sub {
    my $logged = json(@bag, '--temps', "$corpus/closet.csv", '--json');
    ok($logged->{full_days}{central} > json(@bag, qw(--temp 24C --json))->{full_days}{central}, 'a cool closet is later');
    refused('log and temperature', 2, qr/not both/, @bag, qw(--temp 24C --temps), "$corpus/closet.csv");
    refused('a broken log', 65, qr/:2:3: error/, @bag, qw(--temps -), { in => "hours,temp_C\n0,warm\n" });
};

subtest 'a note a day' => sub {
    my @noted = map { sprintf '2026-02-%02d,%d', $_, 20 } 1 .. 20;
    my $days = json(qw(forecast oyster jar:1litre --temps - --json), { in => "date,temperature_C\n" . join "\n", @noted, '' });
    my $even = json(qw(forecast oyster jar:1litre --temp 20C --json));
    is_deeply($days->{days}, $even->{days}, 'dates alone are as good as times');
};

subtest 'in words, with dates' => sub {
    my ($status, $out) = run(@bag, qw(--temp 24C --start 2025-02-20 --day 9 --seen 30%));
    is($status, 0, 'exit 0');
    like($out, qr/Fully colonised, ready to use: day \d+/, 'days');
    like($out, qr/2025-0[23]-\d\d\s+to\s+2025-03-\d\d/, 'dates');
    like($out, qr/Break and shake only while all is\s+clean/, 'and no shaking of a suspect vessel');
    golden('forecast-bag', $out);
};

# The days in print for grain, at the warmth they were printed for, are no stall, and the forecast reaches them.
subtest 'every species in its published days' => sub {
    open(my $from, '<', project_root() . '/rules/species.yaml') or die;
    local $/;
    my $rules = <$from>;
    my %printed_for = (beech => 22, enoki => 22, blewit => 21, straw_mushroom => 32, cordyceps => 22, morel => 22);
    my @species = $rules =~ /^  ([a-z_]+):\n    name: /mg;
    for my $species (grep { $_ ne 'other' } @species) {
        my $warmth = ($printed_for{$species} // 24) . 'C';
        my @run = (qw(forecast --vessel quart_jar --json --species), $species, '--temp', $warmth);
        my ($published, $full) = @{ json(@run) }{qw(published_days full_days)};
        my ($low, $high) = @{$published}{qw(low high)};
        cmp_ok($full->{low}, '<=', $high, "$species: begins before the last published day");
        ok($full->{central} >= 0.8 * $low && $full->{central} <= 1.2 * $high, "$species: its middle is among them")
            or diag "$full->{central}, published $low to $high";
        # Full on the last published day is 70 % at about three quarters of it.
        for my $day ($low, 0.75 * $high) {
            my $pace = json(@run, '--day', $day, qw(--seen 70%))->{seen}{pace};
            isnt($pace, 'stalled', "$species: 70 % on day $day is no stall");
        }
    }
};

# At its best warmth it is never later than at the warmth the days were printed for, and 15 degC costs every species more days, or all.
subtest 'every species at its best and at 15 degC' => sub {
    open(my $from, '<', project_root() . '/rules/species.yaml') or die;
    local $/;
    my $rules = <$from>;
    my %best = $rules =~ /^  ([a-z_]+):\n    name: .*?t_opt: (\d+)/msg;
    my %floor = $rules =~ /^  ([a-z_]+):\n    name: .*?t_min: (\d+)/msg;
    ok(keys %best >= 22, 'all have one');
    for my $species (sort keys %best) {
        my @run = (qw(forecast --vessel quart_jar --json --species), $species, '--temp');
        my $at_best = json(@run, "$best{$species}C");
        my ($low, $high) = @{ $at_best->{published_days} }{qw(low high)};
        my $full = $at_best->{full_days}{central};
        ok($full >= 0.75 * $low && $full <= 1.1 * $high, "$species: in its published days at its best") or diag "$full, $low to $high";
        for my $day ($low, 0.75 * $high) {
            my $pace = json(@run, "$best{$species}C", '--day', $day, qw(--seen 70%))->{seen}{pace};
            isnt($pace, 'stalled', "$species: 70 % on day $day is no stall there");
        }
        my $cold = json(@run, '15C')->{full_days}{central};
        if ($floor{$species} >= 15) { is($cold, undef, "$species: never at 15 degC, as its lower limit says") }
        else { cmp_ok($cold, '>', 1.3 * $full, "$species: later at 15 degC, but not never") }
    }
};

subtest 'words as a batch takes them' => sub {
    my $named = json(qw(forecast --species lions_mane --temp 24C --starter liquid_culture --inoculum 3ml --vessel litre_jar --json));
    is_deeply(json('forecast', @$_, '--json'), $named, "@$_")
        for [qw(lions mane 24C liquid culture 3ml litre jars)], ["lion's mane in a litre jar, 3 ml of LC", '24C'];
};

subtest 'a starter and how much of it' => sub {
    my $pieces = json(qw(forecast shiitake 22C quart_jar --starter plate --inoculum 3 --json));
    is_deeply(json('forecast', 'shiitake', '22C', 'quart', 'jar', @$_, '--json'), $pieces, "@$_")
        for [qw(3 agar wedges)], [qw(3 pieces of agar)], [qw(agar 3 wedges)];
    is_deeply(json(qw(forecast oyster 20C 300g), @$_, '--json'), json(qw(forecast oyster 20C --starter grain_spawn --inoculum 300g --json)), "@$_")
        for [qw(grain spawn)], [qw(of spawn)];
    is(json(qw(forecast oyster 18C 2ml spore syringe inoculated 2026-03-20 --json))->{start}, '2026-03-20', 'and a date');
};

subtest 'refusals' => sub {
    refused('no species', 2, qr/--species/, qw(forecast --temp 24C));
    refused('an unknown species', 65, qr/did you mean 'oyster'/, qw(forecast --species oister));
    refused('no unit', 65, qr/has no unit/, @bag, qw(--temp 24));
    refused('an oven', 65, qr/growing temperature/, @bag, qw(--temp 180C));
    refused('a dose of nothing', 65, qr/must be more than 0/, qw(forecast --species oyster --inoculum 0ml));
    refused('a dose by weight of liquid', 65, qr/only part of/, qw(forecast --species oyster --inoculum 4kg));
    refused('more than all', 65, qr/coverage|understood/, @bag, qw(--temp 24C --day 9 --seen 140%));
    refused('day without coverage', 2, qr/go together/, @bag, qw(--temp 24C --day 9));
    refused('no date', 65, qr/not a date I can read/, @bag, qw(--start 31.3.2025));
    refused('shakes out of order', 65, qr/not after/, @bag, qw(--shake 9 --shake 5));
};

subtest 'coverage never falls' => sub {
    for my $temperature (qw(12C 15C 24C 30C)) {
        my $days = json(qw(forecast --species oyster --inoculum 4ml --vessel bag:1.36kg --json --temp), $temperature)->{days};
        for my $edge (qw(low central high)) {
            my @falls = grep { $days->[$_]{$edge} < $days->[ $_ - 1 ]{$edge} - 1e-9 } 1 .. $#$days;
            is("@falls", '', "$temperature, $edge");
        }
    }
};

subtest 'figures and names without their options' => sub {
    is_deeply(json(qw(forecast shiitake 22C bag:2.2kg --inoculum 3ml --json)),
        json(qw(forecast --species shiitake --temp 22C --vessel bag:2.2kg --inoculum 3ml --json)), 'a mushroom, a temperature, a vessel');
    is_deeply(json('forecast', 'oyster', '20 C', 'rye', '15', 'days', qw(20% --json)),
        json(qw(forecast --species oyster --temp 20C --grain rye --day 15 --seen 20% --json)), 'how much is white on which day');
};

done_testing;
