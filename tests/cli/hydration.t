#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# `jarside mix`: moisture of what was weighed, what to weigh, soak and drain, headroom, refusals.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use Jarside qw(:DEFAULT near refused);
use Test::More;

subtest 'weighed' => sub {
    my $mix = json(qw(hydration --dry 885g --water 475g --grain millet --json));
    # By hand, grain at 12 %: (0.12 x 885 + 475) / 1360 = 42.74 %.
    near($mix->{moisture}, 42.74, 0.1, 'moisture as by hand');
    ok($mix->{band}{low} < $mix->{band}{high}, 'a band');
    ok($mix->{band}{raw_limit} < $mix->{band}{high}, 'and what a raw kernel holds, which disagrees with it');
    ok($mix->{free_water_g} > 0, 'so some water is free before the cook');
    ok(scalar(@{ $mix->{sources} }) >= 1, 'with sources');
    near(json(qw(hydration --dry 1000g --water 600g --own-moisture 12% --json))->{moisture}, 45, 1e-6, '1000 + 600 g is 45 %');
    near(json(qw(hydration --dry 1kg --water 540g --own-moisture 12% --json))->{dry_basis}, 75, 1e-6, '1000 + 540 g is 75 % dry basis');
    my $wet = json(qw(hydration --dry 1kg --water 1.2kg --grain wheat --json));
    is($wet->{place}, 'above', 'too wet is above');
    ok($wet->{correction_g} < 0, 'and must lose water');
};

subtest 'to weigh' => sub {
    my $mix = json(qw(hydration --grain rye --vessel quart_jar --vessels 6 --target 48% --json));
    ok($mix->{recipe}, 'is a recipe');
    near($mix->{moisture}, 48, 1e-9, 'for the target');
    near(json('hydration', '--dry', "$mix->{dry_g}g", '--water', "$mix->{water_g}g", qw(--grain rye --json))->{moisture}, 48, 0.01,
        'weighing it gives the target back');
    near(json(qw(hydration --dry 1kg --own-moisture 12% --target 50% --json))->{water_g}, 760, 0.01, '760 g to a kilogram for 50 %');
    ok(json(qw(hydration --grain rye --vessel quart_jar --mass 900g --json))->{fill} > 1, 'an overfull jar shows');
    my ($status, $out) = run(qw(hydration --grain rye --vessel quart_jar --mass 900g));
    like($out, qr/too full/, 'and is told');
};

subtest 'soak and drain' => sub {
    my $soaked = json(qw(hydration --before 1kg --after 1.75kg --own-moisture 12% --json));
    near($soaked->{moisture}, 49.71, 0.01, 'by weighing twice');
    near($soaked->{water_g}, 750, 1e-6, 'the water taken up');
    my $drained = json(qw(hydration --before 1kg --after 1.75kg --grain rye --json));
    is($drained->{free_water_g}, 0, 'what was drained has no free water');
    my ($status, $out) = run(qw(hydration --before 1kg --after 1.75kg --grain rye));
    like($out, qr/Weighed after draining: all the water is in the kernels/, 'and the words say where it is');
    unlike($out, qr/is free\s+before the cook/, 'not that it stands free');
    ($status, $out) = run(qw(hydration --grain rye --dry 1kg --target 50%));
    like($out, qr/is free\s+before the cook.*simmer and drain to the same\s+weight, none of it is free/s, 'a recipe says both');
};

subtest 'in words' => sub {
    my ($status, $out) = run(qw(hydration --dry 885g --water 475g --grain millet));
    is($status, 0, 'exit 0');
    like($out, qr/Moisture: 42\.7 %/, 'moisture');
    like($out, qr/target range/, 'band');
    like($out, qr/62 g \(2\.19 oz\) of that is free\s+before the cook: raw kernels take up water to about 40 %/, 'limit');
    golden('hydration-weighed', $out);
};

subtest 'figures and names without their options' => sub {
    is_deeply(json(qw(hydration rye 2kg --json)), json(qw(hydration --grain rye --dry 2kg --json)), 'a grain and its weight');
    is_deeply(json(qw(hydration quart jar oats --vessels 3 --json)), json(qw(hydration --vessel quart_jar --grain oats --vessels 3 --json)),
        'a vessel by its name');
    refused('a second weight', 2, qr/what is '900g'\? Say which: --water '900g' or --before/, qw(hydration rye 2kg 900g));
    refused('which per cent', 2, qr/--own-moisture '50%' or --target '50%'/, qw(hydration rye 2kg 50%));
    refused('no such grain', 2, qr/no grain or vessel 'ry'; did you mean 'rye'/, qw(hydration ry 2kg));
};

subtest 'words as a batch takes them' => sub {
    is_deeply(json(qw(hydration rye in 12 litre jars --json)), json(qw(hydration --grain rye --vessel litre_jar --vessels 12 --json)), 'so many jars');
};

subtest 'refusals' => sub {
    refused('no unit', 65, qr/has no unit/, qw(hydration --dry 885 --water 475g));
    refused('negative', 65, qr/negative/, qw(hydration --dry -5g --water 475g));
    refused('over 70 %', 65, qr/moisture .* between 0 and 70/, qw(hydration --dry 100g --water 900g));
    refused('drier than the grain', 65, qr/drier than the grain/, qw(hydration --dry 1kg --own-moisture 14% --target 10%));
    refused('lighter after the soak', 65, qr/lighter/, qw(hydration --before 1kg --after 900g));
    refused('half of a pair', 2, qr/go together/, qw(hydration --before 1kg));
    refused('water alone', 2, qr/needs --dry/, qw(hydration --water 475g));
    refused('two ways at once', 2, qr/not both/, qw(hydration --dry 1kg --water 1kg --before 1kg --after 2kg));
    refused('nothing', 2, qr/give --dry/, 'hydration');
    refused('an unknown grain', 65, qr/did you mean 'millet'/, qw(hydration --dry 1kg --water 500g --grain milet));
    refused('nothing of grain', 65, qr/mass 0 g/, qw(hydration --dry 0g --water 475g));
};

done_testing;
