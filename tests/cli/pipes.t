#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# Whoever closes a pipe wants no more: every command then ends without a word, as if SIGPIPE had ended it (141), whether
# or not that signal was ignored when it began. What an act recorded stays recorded. Any other output that cannot be
# written is told. Every record is invented.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use Jarside;
use Test::More;

my $scratch = scratch();
my $program = Jarside::program();
my $tiny    = project_root() . '/tests/unit/tiny-rules';
my $cases   = project_root() . '/tests/unit/tiny-cases';
my $log     = project_root() . '/corpus/process/core-hot.csv';
my @journal = ('--journal', "$scratch/j.db");
my @season  = ('--journal', "$scratch/season.db");
ok(season($season[1]), 'an invented season');

# to_nobody(args..., {in, signal}): status and standard error of a program whose output nobody reads any more.
sub to_nobody {
    my @args = @_;
    my $options = ref $args[-1] eq 'HASH' ? pop @args : {};
    pipe(my $reader, my $writer) or die $!;
    close $reader;
    open(my $in, '+>', undef) or die $!;
    print {$in} $options->{in} // '';
    $in->flush;
    seek $in, 0, 0;
    open(my $err, '+>', undef) or die $!;
    my $pid = fork // die $!;
    if (!$pid) {
        %ENV = Jarside::environment(%{ $options->{env} // {} });
        $SIG{PIPE} = $options->{signal} // 'DEFAULT';
        alarm 60;    # an endless one is ended as a failure
        open(STDIN, '<&', $in); open(STDOUT, '>&', $writer); open(STDERR, '>&', $err);
        exec($program, @args) or POSIX::_exit(127);
    }
    waitpid($pid, 0);
    my $status = $? & 127 ? 128 + ($? & 127) : $? >> 8;
    seek $err, 0, 0;
    local $/;
    return ($status, scalar <$err>);
}

is((run(qw(batch 3 quart jars rye oyster), '15 psi 90 min, lc 4 ml', qw(--no-input --at 2026-03-01), @journal))[0], 0, 'a journal')
    or BAIL_OUT('no journal');
is((run(qw(look B1-1), 'green powder by the port', qw(--at 2026-03-09), @journal))[0], 0, 'with a look in it');

my @printing = (
    [qw(--help)], [qw(--version)], [qw(help judge)], [qw(judge --help)],
    [ 'judge', 'day 9, green powder' ],
    [ qw(judge --json --explain), 'day 9, green powder' ],
    [ qw(judge --lines), { in => "green powder\n" x 50 } ],
    [ qw(judge --lines --json), { in => "green powder\n\n\xff\n" } ],
    [ 'ask', { in => "green powder by the port\nwhy\nverdict\n" } ],
    ['show'], [qw(show colour)],
    [qw(cook --gauge 15psi --minutes 90 --vessel jar:1quart)], [ qw(cook --json --probe), $log ],
    [qw(hydration --dry 885g --water 475g --grain millet)], [qw(forecast --species oyster --temp 24C --inoculum 4ml --vessel bag:1.36kg)],
    [ 'list', @journal ], [ qw(list --json), @journal ], [ qw(history B1-1), @journal ], [ qw(search green), @journal ],
    [ 'due', @journal ], [ 'stats', @journal ], [ qw(due --sheet), @journal ], [ qw(due --ics -), @journal ], [ qw(due --html -), @journal ],
    [ qw(labels B1), @journal ], [ qw(labels B1 --html -), @journal ],
    [ qw(export --table vessel), @journal ], [ qw(export --table look -), @journal ],
    [ qw(journal check), @journal ],
    [ qw(rules test --json), "$cases/labelled.yaml", { env => { JARSIDE_RULES => $tiny } } ],
    [qw(review --demo)], [ qw(review --json), @season ], [ qw(review --details), @season ], [ qw(review --html -), @season ],
    [ qw(review --csv -), { in => "lost,cook\n" . "yes,K1\nno,K2\n" x 20 } ],
);
for my $case (@printing) {
    my @args = @$case;
    my $options = ref $args[-1] eq 'HASH' ? pop @args : {};
    my $title = join ' ', grep { !m{/} } @args;
    my @plain = run(@args, $options);
    cmp_ok(length $plain[1], '>', 0, "$title: prints") or diag $plain[2];
    my ($status, $err) = to_nobody(@args, $options);
    is($status, 141, "$title: ends as if by SIGPIPE");
    # What it says of its input is said whoever reads the answer.
    is($err, substr($plain[2], 0, length $err), "$title: without a word about it");
}
is((to_nobody('show', { signal => 'IGNORE' }))[0], 141, 'the same where SIGPIPE was ignored');
is((to_nobody(qw(judge --json green), { signal => 'IGNORE' }))[1], '', 'and as quietly');

subtest 'what an act recorded stays' => sub {
    for my $act ([ qw(look B1-2), 'all white, 40 percent' ], [qw(shake B1-3)], [qw(move B1-3 shelf)], [qw(discard B1-1)]) {
        my ($before) = (run('history', $act->[1], '--json', @journal))[1];
        my ($status, $err) = to_nobody(@$act, qw(--at 2026-03-12), @journal);
        is($status, 141, "$act->[0]: 141") or diag $err;
        is($err, '', 'quietly');
        isnt((run('history', $act->[1], '--json', @journal))[1], $before, 'and it is in the journal');
    }
    is((run('journal', 'check', @journal))[0], 0, 'which is sound');
};

subtest 'files are written whoever reads about them' => sub {
    for my $act ([ export => "$scratch/out" ], [ backup => "$scratch/b.db" ], [ qw(due --ics), "$scratch/due.ics" ], [ qw(review --html), "$scratch/r.html" ]) {
        my ($status, $err) = to_nobody(@$act, $act->[0] eq 'review' ? @season : @journal);
        is($status, 141, "$act->[0]: 141") or diag $err;
        ok(-e $act->[-1], 'and its file is there');
    }
};

# A program that never stops reading for a reader who has long gone would be the worst of both.
my $endless = `bash -c 'set -o pipefail; yes "green powder" | "$program" judge --lines 2>"$scratch/err" | head -1; echo "\${PIPESTATUS[1]}"'`;
like($endless, qr/\n141\n\z/, 'endless lines end with their reader');
is(-s "$scratch/err", 0, 'quietly');

SKIP: {
    skip 'no /dev/full', 6 unless -c '/dev/full';
    for my $args ('judge green', 'show', "review --html - @season", 'due --ics - --journal ' . $journal[1], 'export --table vessel --journal ' . $journal[1], '--help') {
        my $err = `'$program' $args 2>&1 >/dev/full`;
        is(($? >> 8) . ($err =~ /cannot (?:be written|write)/ ? ' told' : " $err"), '74 told', "$args: a full disk is told");
    }
}

done_testing;
