#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# On a machine on its last legs (tests/support/faulty.c): whatever fails, the answer is whole or there is none, a
# message says why, the exit status is a documented one, and what the journal holds is all of an act or nothing of it.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use Cwd qw(abs_path);
use File::Copy qw(copy);
use Faulty;
use Jarside;
use Test::More;

my $program = abs_path($ENV{JARSIDE} // project_root() . '/.build/release/jarside');
plan skip_all => 'what counts or watches here cannot do without memory' if $program =~ m{/\.build/(?:asan|coverage)/};
my $scratch = scratch();
ok(faulty_built(), 'the faulty machine is built') or BAIL_OUT('no faulty machine');

my $tiny = project_root() . '/tests/unit/tiny-rules';

# Some of the last requests, where the answer is put together, and fewer of those before, where the rules are read;
# with FAULTS=all every single one, which takes an hour.
sub sampled {
    my ($count) = @_;
    return 1 .. $count if ($ENV{FAULTS} // '') eq 'all';
    my $early = $count > 100 ? $count - 100 : 0;
    my $step  = int($early / 5) + 1;
    return (grep({ $_ % $step == 3 } 1 .. $early), grep { $_ % 7 == 0 || $_ > $count - 5 } $early + 1 .. $count);
}

# What is wrong with an ending, given how it ends when nothing fails; nothing when it is orderly.
sub objection {
    my ($good, $status, $out, $err, $cause) = @_;
    return 'hung' if $status eq 'hung';
    if ($status == $good->[0]) {
        return $out eq $good->[1] ? undef : 'another answer, told as whole';
    }
    return "exit $status" unless $status == 70 || $status == 74;
    return "no word of it: $err" unless $err =~ /$cause/;
    return;
}

sub withstands {
    my ($title, $fault, $cause, $numbers, @args) = @_;
    my $good = [ try_out({}, @args) ];
    my %bad;
    for my $n (@$numbers) {
        my $why = objection($good, try_out({ $fault->($n) }, @args), $cause);
        push @{ $bad{$why} }, $n if defined $why;
    }
    is(join('; ', map { "$_ at @{ $bad{$_} }" } sort keys %bad), '', "$title (" . @$numbers . ' faults)');
}

my $said = 'day 12, red and dusty near the top, floop, maybe moist';
my @acts = (
    [ 'a description', 'judge', '--explain', $said ],
    [ 'a description as JSON', qw(judge --json), $said ],
    [ 'lines', qw(judge --lines), { in => "red dusty\nday 3\nblue smooth\n" } ],
    [ 'a conversation', 'ask', { in => "red dusty\nwhy\nday 3\nverdict\n" } ],
    [ 'a check of rules', qw(rules check) ],
    [ 'a score', qw(rules test), project_root() . '/tests/unit/tiny-cases/labelled.yaml', '--json' ],
    [ 'what is known', 'show', 'tint' ],
    [ 'a cook', qw(cook --gauge 15psi --minutes 90 --vessel jar:1quart --json),
        { env => { JARSIDE_RULES => project_root() . '/rules' } } ],
    [ 'a log', qw(cook --probe corpus/process/core-hot.csv), { env => { JARSIDE_RULES => project_root() . '/rules' } } ],
);

subtest 'memory: one request fails' => sub {
    for my $act (@acts) {
        my ($title, @args) = @$act;
        my %count = asked(@args);
        withstands($title, sub { (FAULTY_MEMORY => $_[0]) }, qr/memory/, [ sampled($count{memory}) ], @args);
    }
};

subtest 'memory: from one request on all fail' => sub {
    for my $act (@acts[ 0 .. 4 ]) {
        my ($title, @args) = @$act;
        my %count = asked(@args);
        my @some  = grep { $_ % 4 == 0 } sampled($count{memory});
        withstands($title, sub { (FAULTY_MEMORY => "$_[0]+") }, qr/memory/, \@some, @args);
    }
};

subtest 'reading' => sub {
    for my $act (@acts[ 0, 3, 5, 8 ]) {
        my ($title, @args) = @$act;
        my %count = asked(@args);
        my @some  = grep { $_ <= 2 || $_ % 3 == 0 && $_ < 13 || $_ > $count{read} - 2 } 1 .. $count{read};
        withstands("$title: a read fails", sub { (FAULTY_READ => "eio:$_[0]") }, qr/[Ii]nput\/output error/, \@some, @args);
        my @opened = grep { $_ <= 2 || $_ % 3 == 0 && $_ < 13 || $_ > $count{open} - 2 } 1 .. $count{open};
        withstands("$title: nothing more can be opened", sub { (FAULTY_OPEN => $_[0]) }, qr/[Tt]oo many open files/, \@opened, @args);
        for my $way (qw(eintr short)) {
            my $good = [ try_out({}, @args) ];
            is_deeply([ try_out({ FAULTY_READ => $way }, @args) ], $good, "$title: $way reads change nothing");
        }
    }
};

subtest 'writing' => sub {
    for my $act (@acts) {
        my ($title, @args) = @$act;
        next if !length((try_out({}, @args))[1]);    # silent when all is well
        for my $way (qw(enospc:1 eio:1)) {
            my ($status, $out, $err) = try_out({ FAULTY_WRITE => $way }, @args);
            is($status, 74, "$title: $way") or diag $err;
            like($err, qr/cannot write the output/, 'and says so');
        }
        is((try_out({ FAULTY_WRITE => 'epipe:1' }, @args))[0], 141, "$title: a closed pipe is no fault");
    }
};

# ---- the journal ---------------------------------------------------------------------------------

my %shipped = (JARSIDE_RULES => project_root() . '/rules');
my @journal = ('--journal', "$scratch/journal.db");

sub tables { return join '', map { (run('export', '--table', $_, @journal, { env => { JARSIDE_RULES => $tiny } }))[1] } qw(vessel event) }

subtest 'an act is recorded whole or not at all' => sub {
    my ($status, undef, $err) = run(qw(batch --count 2 --grain rye --species oyster --starter S1 --cook C1 --vessel quart_jar
            --gauge 15psi --minutes 90 --place shelf --no-input --at 2026-03-01), @journal, { env => \%shipped });
    is($status, 0, 'a batch') or diag $err;
    copy("$scratch/journal.db", "$scratch/before.db") or die $!;
    my $before = tables();
    my @act = (qw(shake B1-1 B1-2 --at 2026-03-12), @journal);
    my $options = { env => \%shipped };
    my %count = asked(@act, $options);
    my $after = tables();
    isnt($after, $before, 'and what shaking adds to it');
    my @ways = (map({ { FAULTY_MEMORY => $_ } } grep { $_ % 29 == 0 } $count{memory} - 500 .. $count{memory}),
        map({ { FAULTY_WRITE => ($_ % 2 ? 'eio' : 'enospc') . ":$_" } } 1 .. $count{write}),
        map({ { FAULTY_READ => "eio:$_" } } grep { $_ % 2 } $count{read} - 12 .. $count{read}),
        { FAULTY_WRITE => 'eintr' }, { FAULTY_WRITE => 'short' }, { FAULTY_READ => 'eintr' }, { FAULTY_READ => 'short' });
    my @bad;
    for my $way (@ways) {
        unlink glob("$scratch/journal.db*");
        copy("$scratch/before.db", "$scratch/journal.db") or die $!;
        my ($status, undef, $err) = try_out($way, @act, $options);
        my $tables = tables();
        my $fault = join '=', %$way;
        # SQLite takes a disk that cannot be read for a damaged file.
        push @bad, "$fault: $status" unless $status =~ /^(?:0|70|74)$/ || ($status eq 65 && $err =~ /damaged/ && $fault =~ /READ=eio/);
        push @bad, "$fault: silent" if $status ne 0 && $err eq '';
        push @bad, "$fault: half of it" if $tables ne $before && $tables ne $after;
        push @bad, "$fault: said to be done" if $status eq 0 && $tables ne $after;
        push @bad, "$fault: a journal that is no longer sound"
            if (run(qw(journal check), @journal, { env => { JARSIDE_RULES => $tiny } }))[0] > 1;
    }
    is("@bad", '', scalar(@ways) . ' faults');
};

# What is told of a journal is put together from many small answers, each of which may be missing.
subtest 'what is told as JSON is whole or not told' => sub {
    unlink glob("$scratch/journal.db*");
    copy("$scratch/before.db", "$scratch/journal.db") or die $!;
    my $table = "fate,starter,cook\n" . "lost,A,K1\n" x 9 . "ok,A,K1\nlost,B,K2\n" . "ok,B,K2\n" x 9;
    my @told = (
        [ 'a review', qw(review --json --csv -), { in => $table } ],
        [ 'a life', qw(history S1 --json), @journal ],
        [ 'a list', qw(list batches --json), @journal ],
        [ 'a search', qw(search S1 --json), @journal ],
        [ 'a check', qw(journal check --json), @journal ],
    );
    for my $act (@told) {
        my ($title, @args) = @$act;
        my %count = asked(@args);
        my $last  = $count{memory};
        withstands($title, sub { (FAULTY_MEMORY => $_[0]) }, qr/memory/, [ grep { $_ % 11 == 0 } $last - 700 .. $last ], @args);
    }
};

done_testing;
