#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# One-shot judging: the examples of the README, the JSON contract, stakes, and answers line by line.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use Jarside;
use Test::More;

my %kind;    # finding id -> status, from the rule files themselves
for my $file (glob(project_root() . '/rules/findings/*.yaml')) {
    open(my $from, '<', $file) or die $!;
    my $text = do { local $/; <$from> };
    my ($id) = $text =~ /^\s+id:\s*(\w+)/m;
    my ($status) = $text =~ /^\s+status:\s*(\w+)/m;
    $kind{$id} = $status;
}

sub judged { return json('judge', '--json', @_) }
sub first_of { my ($answer, $list, $n) = @_; return map { $_->{id} } @{ $answer->{$list} }[ 0 .. $n - 1 ] }

subtest 'green powder at the port' => sub {
    my $answer = json(qw(judge --json), 'day 12, powdery green patch near the injection port, rest is white');
    is($answer->{action}, 'discard', 'is discarded');
    ok(defined $answer->{forced_by}, 'a floor forces it');
    like((first_of($answer, 'findings', 1))[0], qr/mould|aspergillus/, 'a mould leads');
    ok(scalar(@{ $answer->{cautions} }) >= 2, 'with cautions');
    ok(scalar(@{ $answer->{steps} }) >= 2, 'and steps');
};

subtest 'clear drops on white growth' => sub {
    my $answer = json(qw(judge --json),
        'day 9, clear yellow droplets on thick white growth, no smell, no other colour');
    is($answer->{action}, 'keep', 'is kept');
    like((first_of($answer, 'findings', 1))[0], qr/^(?:exudate|healthy_growth)$/, 'exudate or healthy leads');
    ok($answer->{next_step}, 'with a next step');
};

subtest 'a cold stall' => sub {
    my $answer = json(qw(judge --json), '3 weeks, stopped at 40 percent, clean white, closet is 58F');
    isnt($answer->{action}, 'discard', 'is not discarded');
    ok((grep { $_ eq 'too_cold' } first_of($answer, 'causes', 3)), 'cold is among the first three causes');
};

subtest 'wet, greasy, sour' => sub {
    my $answer = json(qw(judge --json),
        'wet, grains look greasy and grey, sour smell when I walk past, no mould');
    like($answer->{action}, qr/^(?:discard|isolate)$/, 'is not kept');
    is((first_of($answer, 'findings', 1))[0], 'wet_rot', 'wet rot leads');
};

subtest 'what stands around the grain, or in its place' => sub {
    for my $words ('fully white but cracked glass', 'the jar has a crack in it, all white oyster', 'hairline crack at the base, white 80%') {
        my $answer = judged($words);
        is("$answer->{action} $answer->{forced_by}", 'isolate cracked_vessel', $words);
    }
    for my $words ('no cracks in the jar, all white', 'threads like cracks in ice, white, day 13', 'white from liquid culture, day 6',
        'oyster quart jar day 7 80% white from liquid culture, rhizomorphic') {
        is(judged($words)->{action}, 'keep', $words);
    }
    for my $words ('agar plate, a fuzzy white bit on one side', 'it is a petri dish, not a jar', 'LC jar: clear with white clouds of fluff',
        'my LC jar is clear with white clumps') {
        like(judged($words)->{forced_by}, qr/^a_(?:plate|liquid)$/, "$words: no grain");
    }
    is(judged('LC jar, day 9, white stars on the rye')->{action}, 'keep', 'a jar of grain that got liquid culture');
    for my $words ('forgot to inoculate this one, nothing on it after three weeks', 'uninoculated jar, nothing in it, 4 days old') {
        my ($status, $out) = run('judge', $words);
        like($out, qr/^Keep.*Nothing\s+was\s+put\s+into\s+it.*Inoculate it soon/s, $words);
        unlike($out, qr/same starter|Too cold/, 'nothing of a starter');
    }
    my %understood = ('king oyster, no wait, lions mane, half white' => ['species', 'lions_mane'],
        'half white, no wait, a quarter' => ['coverage', 'quarter'], 'bottom half of the rye jar is wet' => ['wetness', 'wet'],
        'rye wet at the bottom. all the others from the same pc run are ok' => ['siblings_cook', 'all_fine'],
        'oyster, day 16 only 20%, my basement is like 60 degrees' => ['temperature', 'c15_18']);
    for my $words (sort keys %understood) {
        my ($sign, $value) = @{ $understood{$words} };
        is(join(' ', map { $_->{value} } grep { $_->{sign} eq $sign } @{ judged($words)->{understood} }), $value, $words);
        is((grep { $_->{sign} =~ /^(?:smell|grain_surface)$/ } @{ judged($words)->{understood} }), 0, 'and nothing else in it');
    }
    for my $words ('half white with a green powdery spot by the port, no wait, three quarters white',
        'half white, green dust near the lid, hang on, no wait, two thirds white', 'day 5, no wait, green powder, day 6',
        'white with pink slime at the base, i mean, no wait it is rye not oats') {
        is(judged($words)->{action}, 'discard', "what was told before it was put right stands: $words");
    }
    for my $words ('agar plate with a green powdery spot', 'petri dish, black pin heads on stalks', 'liquid culture jar with green powder on the surface') {
        is(judged($words)->{action}, 'discard', $words);
    }
    for my $words ('agar plate, a fuzzy white bit on one side', 'liquid culture in a jar is cloudy with a ring') {
        unlike((run('judge', $words))[1], qr/\b(?:cut|open(?! it|,)|smell it\?)\b/, "nobody is told to open it: $words");
    }
    my %said = ('the dew on the glass was clear, now it is milky, oyster, half white' => 'liquid cloudy_pool', 'thought it was the light but it is still green' => 'verdict stands',
        'tiny specks by the lid scatter when I breathe on it' => 'moving specks', 'it is not just dust, wipes off sooty' => 'wipe came_off');
    for my $words (sort keys %said) {
        my $answer = judged($words);
        ok((grep { "$_->{sign} $_->{value}" eq $said{$words} } @{ $answer->{understood} }), "$words: $said{$words}");
        isnt($answer->{action}, 'keep', 'and it is not kept');
        ok(!(grep { $_->{sign} eq 'liquid' } @{ $answer->{clashes} }), 'no contradiction');
    }
    my $never = judged('never noced this jar up, sat there 3 weeks, fuzz growing on top, whiteish');
    is("$never->{action} $never->{findings}[0]{id}", 'isolate pale_mould', 'growth without a starter');
};

subtest 'what growers ask' => sub {
    my $bin = judged('how do i bin it');
    is($bin->{forced_by}, 'nothing_seen', 'a question alone is answered');
    like($bin->{asked}{answer}, qr/goes closed/, 'as far as it can be');
    is_deeply($bin->{steps}, [], 'and no finding says what to do where nothing was seen');
    my %shake = ('can i shake it, there is a green spot' => qr/^No: leave it closed/, 'is it safe to shake it now, 30 percent white' => qr/^Yes, once, if every side/,
        'first specks of white, day 4, when should I shake it' => qr/^Not yet/, 'fully white, can I break it up?' => qr/^Only to loosen it/);
    like(judged($_)->{asked}{answer}, $shake{$_}, $_) for sort keys %shake;
    is(judged('blue oyster bag white all over day 10 35C')->{next_step}, 'cool', 'what is too warm is said');
    is(judged('blue oyster bag white all over day 10 24C')->{next_step}, 'use', 'and only that');
};

subtest 'the JSON keeps its contract' => sub {
    my $answer = json(qw(judge --json), 'day 12, greenish dust by the port, xyzzy plugh');
    is($answer->{schema}, 1, 'schema 1');
    for my $key (qw(action next_step forced_by settled loss status findings causes understood not_spoken_of not_understood
                    clashes evidence computed would_change next_question tests steps cautions rules)) {
        ok(exists $answer->{$key}, "has $key");
    }
    for my $list (qw(findings causes)) {
        my @p = map { $_->{p} } @{ $answer->{$list} };
        is_deeply(\@p, [ sort { $b <=> $a } @p ], "$list fall in p");
    }
    my $sum = 0;
    $sum += $_->{p} for @{ $answer->{findings} };
    cmp_ok(abs($sum - 1), '<', 1e-4, 'the findings add up to one');
    is(scalar @{ $answer->{findings} }, scalar keys %kind, 'every finding is there');
    ok((grep { $_->{words} =~ /xyzzy/ } @{ $answer->{not_understood} }), 'unknown words are shown back');
    my ($age) = grep { $_->{sign} eq 'day' } @{ $answer->{understood} };
    is($age->{number}{lo}, 12, 'a number keeps its figure');
    is($age->{from}, 'day 12', 'and its words');
};

subtest 'stakes move the action' => sub {
    my @text = ('day 6, a slightly off-white patch, otherwise white');
    my $calm = json(qw(judge --json --neighbours 0), @text);
    my $dear = json(qw(judge --json --neighbours 40 --use expand:20), @text);
    cmp_ok($dear->{loss}{keep}, '>', $calm->{loss}{keep}, 'more neighbours and uses make a wrong keep dearer');
};

subtest 'settings' => sub {
    my $set = json(qw(judge --json --set colour=green --set surface=powdery --set), 'day=12 days');
    is($set->{action}, 'discard', 'signs can be set');
    my @text = ('day 9, clear drops on thick white growth, no smell');
    my $passed_over = sub {
        return grep { $_->{sign} eq 'colour' && $_->{value} eq 'green' } @{ json(qw(judge --json), @_)->{not_spoken_of} };
    };
    ok($passed_over->(@text), 'what a description passes over is named as such');
    ok(!$passed_over->(qw(--set colour=white), @text), 'and a setting speaks instead');
    ok(!$passed_over->('pink'), 'a single alarming word is no description');
    my ($status, $out, $err) = run(qw(judge --set color=green));
    is($status, 2, 'an unknown sign is a fault of use');
    like($err, qr/colour/, 'and the near name is suggested');
    ($status, $out, $err) = run(qw(judge --set colour=gren));
    is($status, 2, 'an unknown value too');
    like($err, qr/green/, 'with its near name');
};

subtest 'line by line' => sub {
    my $in = "green powder near the port\n\nall white and ropy, day 10, no smell\n";
    my ($status, $out, $err) = run(qw(judge --lines --json), { in => $in });
    is($status, 0, 'exits well');
    my @rows = map { decode_json($_) } split /\n/, $out;
    is(scalar @rows, 3, 'an answer a line');
    is($rows[0]{action}, 'discard', 'the first is discarded');
    ok($rows[1]{error}, 'an empty line is answered as such');
    is($rows[2]{action}, 'keep', 'the third is kept');
    ($status, $out) = run(qw(judge --lines), { in => $in });
    is(scalar(split /\n/, $out), 3, 'as text, too');
};

subtest 'line by line on several cores' => sub {
    my $in = "green powder near the port\n\nall white and ropy, day 10, no smell\n"
        . "day 12, stopped at a third, garage at 12C, cooked 90 min at 15 psi\n\xFF\n" . 'green ' x 20_000 . "\n";
    for my $as ([], ['--json']) {
        my @alone = run(qw(judge --lines), @$as, { in => $in x 200 });
        my @shared = run(qw(judge --lines --jobs 3), @$as, { in => $in x 200 });
        is($shared[0], 0, 'exits well');
        is($shared[1], $alone[1], "the same answers in the same order @$as");
        is($shared[2], $alone[2], 'and the same complaints, with the numbers of their lines');
    }
    my ($status, undef, $err) = run(qw(judge --lines --jobs 0), { in => $in });
    is($status, 2, 'there is always one') or diag $err;
};

subtest 'cases from a file' => sub {
    my ($status, $out, $err) = run(qw(judge --case), project_root() . '/corpus/demo/first-look.yaml');
    is($status, 0, 'the demo case is judged') or diag $err;
    like($out, qr/^(?:Keep|Isolate|Discard)/m, 'with an action');
    ($status, $out, $err) = run(qw(judge --case /nonexistent.yaml));
    is($status, 74, 'a missing file is a fault of reading');
    like($err, qr/nonexistent/, 'that names it');
};

subtest 'in words' => sub {
    my ($status, $out) = run('judge', 'day 12, powdery green patch near the injection port, rest is white');
    is($status, 0, 'exits well');
    my $action = index($out, 'Discard');
    my $caution = index($out, '!');
    my $steps = index($out, 'What to do');
    ok($action >= 0 && $action < $caution && $caution < $steps, 'action, cautions, then steps');
    unlike($out, qr/\e/, 'no escape sequence when it is no terminal');
    my @stays = split /\n/, substr $out, $action;
    cmp_ok(scalar @stays, '<=', 23, 'from the action on it fits a terminal of 24 rows');
    (undef, $out) = run('judge', 'green powder', { env => { COLUMNS => 20 } });
    cmp_ok((sort { $b <=> $a } map { length } split /\n/, $out)[0], '<=', 20, 'fits twenty columns');
};

done_testing;
