#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# `jarside batch`: what words, options and the last batch make of it. All batches are invented.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use Jarside;
use Test::More;

my $folder = scratch();
my $number = 0;
my %env;

# Each subtest has a journal of its own, and a fixed clock.
sub fresh { %env = (JARSIDE_JOURNAL => "$folder/" . ++$number . '.db', JARSIDE_NOW => '2026-03-01T18:30:00+00:00') }
sub on { $env{JARSIDE_NOW} = "$_[0]T18:30:00+00:00" }
sub batch { return json('batch', @_, '--json', { env => {%env} }) }

sub refused {
    my ($title, $pattern, @args) = @_;
    my ($status, $out, $err) = run('batch', @args, '--no-input', { env => {%env} });
    isnt($status, 0, "$title: refused");
    like($err, $pattern, "$title: says why");
}

subtest 'from words alone' => sub {
    fresh();
    my $batch = batch(qw(8 quart jars rye oyster 15 psi 90 min lc 4 ml 1 control));
    is($batch->{batch}, 'B1', 'the first batch');
    is_deeply($batch->{vessels}, [map {"B1-$_"} 1 .. 8], 'eight vessels, labelled');
    is_deeply($batch->{controls}, ['B1-9'], 'and a control after them');
    is($batch->{kind}, 'quart_jar', 'in quart jars');
    is($batch->{grain}, 'rye', 'of rye');
    is($batch->{species}, 'oyster', 'of oyster');
    is_deeply([sort keys %{ $batch->{new} }], [qw(cook lot session starter)], 'with new records around it');
    is($batch->{note}, undef, 'and nothing was left over');
    cmp_ok($batch->{first_look}, 'gt', '2026-03-02', 'the first look is not at once');
    cmp_ok($batch->{first_look}, 'le', '2026-03-08', 'and within a week');
    cmp_ok($batch->{full_from}, 'lt', $batch->{full_to}, 'the forecast gives a span');
};

subtest 'a place by its name' => sub {
    fresh();
    for my $case (['shelf1', 'rye shelf1 oyster 15 psi 90 min'], ['shelf2', 'rye oyster on shelf2, 15 psi 90 min'], ['shelf 3', 'rye oyster shelf 3'], ['attic', 'rye oyster, attic']) {
        my $batch = batch('4 quart jars', $case->[1], '--no-input');
        is($batch->{new}{place}, $case->[0], "$case->[1]: a new place");
        is($batch->{note}, undef, '... and no note');
    }
    refused('a slip for one', qr/no place 'shlf2'; did you mean 'shelf/, qw(4 quart jars rye oyster shlf2));
    is(batch('4 quart jars rye oyster, kept in a warm room')->{new}{place}, undef, 'words about a place are none');
};

subtest 'what the last batch had' => sub {
    fresh();
    batch(qw(8 quart jars rye oyster 15 psi 90 min lc 4 ml --place closet));
    on('2026-03-05');
    my $next = batch('6');
    is(scalar @{ $next->{vessels} }, 6, 'six this time');
    is($next->{records}{starter}, 'S1', 'the same starter');
    is($next->{records}{lot}, 'G1', 'the same sack');
    is($next->{records}{place}, 'closet', 'the same place');
    is($next->{records}{cook}, 'C2', 'a cook of its own');
    ok((grep {/15 psi/} @{ $next->{taken_over} }), 'with the same figures, and that is said')
        or diag join '; ', @{ $next->{taken_over} };
    isnt($next->{records}{session}, 'I1', 'and a sitting of its own');
    my $other = batch(qw(4 shiitake));
    isnt($other->{records}{starter}, 'S1', 'another mushroom has another starter');
    is($other->{records}{lot}, 'G1', 'on the same grain');
    is($other->{records}{session}, $next->{records}{session}, 'of one sitting with the batch of the same day');
    my $like = batch(qw(2 --like B1));
    is($like->{species}, 'oyster', '--like goes back to another');
};

subtest 'a cook shared by two starters' => sub {
    fresh();
    batch(qw(5 quart jars rye oyster 15 psi 90 min));
    my $shared = batch(qw(5 C1 --starter LC-9));
    is($shared->{records}{cook}, 'C1', 'the same cook');
    is($shared->{new}{starter}, 'LC-9', 'a new starter by a label of its own');
    refused('another pressure for a shared cook', qr/C1 is on record .*gauge.*jarside correct cook C1/,
        qw(5 C1 12 psi));
    refused('a cook that is not there', qr/nothing in the journal is called 'C7'/, qw(5 C7));
};

subtest 'a starter knows what it is' => sub {
    fresh();
    batch(qw(5 quart jars rye oyster));
    is(batch(qw(3 S1))->{species}, 'oyster', 'the species comes from it');
    refused('two mushrooms at once', qr/S1 is oyster, but the batch is shiitake/, qw(3 shiitake S1));
    is(batch(qw(3 shiitake --starter none))->{records}{starter}, undef, 'or there is none');
};

subtest 'what is missing is named' => sub {
    fresh();
    refused('nothing at all', qr/--count N; .*--vessel quart_jar; .*--grain wheat.*--species shiitake/);
    refused('no grain',       qr/which grain\? add --grain wheat/,              qw(8 quart jars oyster));
    refused('a sign',         qr/'green' is a sign/,    qw(8 quart jars oyster green));
    refused('a bad count',    qr/not a whole number from 0 to 10000: '--count lots'/,  qw(--count lots rye oyster));
    refused('a bad moment',   qr/not a date I can read/,                    qw(8 quart jars rye oyster --at someday));
    is(batch(qw(8 quart jars oyster --grain unknown))->{grain}, undef, 'unknown is an answer');
};

subtest 'bags, positions, backdating, words left over' => sub {
    fresh();
    my $bags = batch(qw(4 bags rye oyster --position), 'upper:2,lower:2', qw(--at 2026-02-20 from the wholesaler));
    like($bags->{kind}, qr/^bag_/, 'a bag of the usual size');
    like($bags->{at}, qr/^2026-02-20/, 'on that day');
    like($bags->{note}, qr/wholesaler/, 'what was not understood is kept');
    refused('a place the cooker has not', qr/no position 'attic'.*upper/, qw(4 --position attic));
    is_deeply([map { $_->{position} } @{ json(qw(list B1 --json), { env => {%env} })->{records} }],
        [qw(upper upper lower lower)], 'two above and two below');
    my ($status, $out) = run(qw(batch 4), { env => {%env} });
    like($out, qr/Carried over from B1: .*oyster/, 'people are told what was taken over');
    like($out, qr/jarside look B2/, 'and what to type next');
};

subtest 'a date among the words' => sub {
    for my $said (['yesterday', '2026-02-28'], ['on 27 Feb', '2026-02-27'], [', 3 days ago,', '2026-02-26'], ['last friday', '2026-02-27'],
        ['inoculated 2026-02-20', '2026-02-20'], ['soaked yesterday', '2026-03-01'], ['', '2026-03-01']) {
        fresh();
        like(batch("3 quart jars rye oyster LC $said->[0]")->{at}, qr/^$said->[1]/, $said->[0]);
    }
    fresh();
    like(batch('3 quart jars rye oyster LC yesterday', '--at', '2026-02-10')->{at}, qr/^2026-02-10/, '--at goes before');
};

subtest 'asked at a terminal' => sub {
    fresh();
    my ($screen, $status) = talk([], { args => ['batch'], env => {%env}, patience => 3 });
    like($screen, qr/How many vessels/, 'a bare batch asks');
    isnt($status, 0, 'leaving records nothing');
    my ($rc, $out) = run(qw(batch 2 quart jars rye oyster), { env => {%env} });
    like($out, qr/^B1:/, 'indeed');
} if eval { IO::Pty->new };

subtest 'hostile words' => sub {
    fresh();
    my $batch = batch('3', 'quart', 'jars', 'rye', 'oyster', '--note', "'); DROP TABLE batch;--\e[31m");
    is($batch->{batch}, 'B1', 'recorded');
    is(batch('2')->{batch}, 'B2', 'and the journal is whole');
    my ($status, $out) = run(qw(batch 2 --note), "\e[2Jx", { env => {%env} });
    unlike($out, qr/\e\[2J/, 'no escape reaches the screen');
};

subtest 'minutes before the pressure; a time not understood lets no other stand in' => sub {
    fresh();
    batch(qw(8 quart jars rye oyster 15 psi 45 min));
    for my $words ('90 min 15psi', '90min 15 psi', '90 minutes 15 psi') {
        my $next = batch("4 quart jars rye, $words");
        is($next->{note}, undef, "'$words' is understood");
        like((run('history', 'cook', $next->{records}{cook}, { env => {%env} }))[1] . (run('list', 'cooks', { env => {%env} }))[1], qr/\b90\b/, '... as 90 minutes');
    }
    my $odd = batch('4 quart jars rye 15 psi, 3 hours after dinner');
    unlike(join('; ', @{ $odd->{taken_over} }), qr/\d min/, 'no minutes of another cook');
};

subtest 'grain that is the starter says which mushroom' => sub {
    fresh();
    batch(qw(4 quart jars rye oyster 15 psi 90 min));
    batch(qw(4 quart jars rye shiitake 15 psi 90 min));
    is(batch('4 quart jars rye from B1-2')->{species}, 'oyster', 'not what the last batch was');
    refused('another mushroom', qr/B1-3 is oyster, but the batch is shiitake/, '4 quart jars rye shiitake from B1-3');
};

subtest 'weights and labels that were said' => sub {
    fresh();
    batch(qw(4 quart jars rye oyster 15 psi 90 min));
    for my $words ('8 bags 2.2 kg oats', '8 x 2.2kg spawn bags') {
        is(batch($words)->{kind}, 'bag_2_5kg', "$words: the bag of that weight");
    }
    refused('a label of two parts', qr/--starter S2b makes a new one/, '4 quart jars starter S2b LC');
    refused('a new one of an old name', qr/there is a starter S1 already/, '4 quart jars new starter S1 plug spawn');
    refused('one among other words', qr/--session I7 makes a new one/, '4 quart jars rye oyster 60g each session I7');
};

subtest 'how much starter went in' => sub {
    fresh();
    for (['two agar wedges each', 2, ''], ['a plug per jar', 1, ''], ['3 ml each', 3, 'ml']) {
        my ($words, $amount, $unit) = @$_;
        my $batch = batch("4 quart jars rye oyster, $words")->{batch};
        my $record = json('history', $batch, '--json', { env => {%env} })->{record};
        is_deeply([$record->{inoculum}, $record->{unit} // ''], [$amount, $unit], $words);
        is($record->{note}, undef, '... and no note');
    }
    my ($status, $out) = run(qw(batch 4 quart jars rye oyster 2 wedges), { env => {%env} });
    like($out, qr/^2 pieces of starter in each\.$/m, 'it is said back');
    ($status, $out) = run(qw(history B4), { env => {%env} });
    like($out, qr/From starter S\d \(2 pieces each\)/, 'and again in its history');
    ($status) = run(qw(correct B4), 'inoculum=3 wedges', { env => {%env} });
    is($status, 0, 'and corrected in the same words');
};

subtest 'records of another day' => sub {
    fresh();
    batch(qw(4 quart jars rye oyster 15 psi 90 min), '--place', 'shelf 2', '--session', 'I1');
    on('2026-05-01');
    my $late = batch(qw(4 quart jars rye S1 C1 I1 shelf2));
    like($late->{doubts}[0], qr/^Cook C1 was 61 days before/, 'a cook of months ago');
    like($late->{doubts}[1], qr/^Inoculation session I1 was on 2026-03-01/, 'and a session of another day are doubted');
    is($late->{records}{place}, 'shelf 2', "'shelf2' is 'shelf 2'");
    on('2026-05-02');
    is_deeply(batch(qw(4 quart jars rye S1 15 psi 90 min))->{doubts}, [], 'what is new is not');
};

done_testing;
