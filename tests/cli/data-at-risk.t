#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# What one bad evening may do to a journal, and what must not come of it: a path that SQLite reads in a way of its own, an
# output named like the journal, a clock or a zone that cannot be, a backup that is none, text that steers a terminal. What
# is killed, damaged or without room is in tests/unit/journal_survival_test.c. Every record is invented.
use strict;
use warnings;
use Cwd qw(getcwd);
use FindBin;
use lib $FindBin::Bin;
use IO::Pty;
use Jarside;
use POSIX qw(mkfifo);
use Test::More;

my $scratch = scratch();
my %now     = (JARSIDE_NOW => '2026-03-20T18:00:00Z');
my @journal = ('--journal', "$scratch/j.db");

sub slurp { my ($file) = @_; open(my $from, '<:raw', $file) or return undef; local $/; return scalar <$from> }
sub spew { my ($file, $bytes) = @_; open(my $to, '>:raw', $file) or die "$file: $!"; print {$to} $bytes; close $to; return $file }
sub with { return run(@_, { env => \%now }) }
sub refused {
    my ($title, $exit, $says, @args) = @_;
    my ($status, $out, $err) = with(@args);
    is($status, $exit, "$title: exit $exit") or diag $out . $err;
    like($err, $says, "$title: told");
}

my ($status, $out, $err) = with(qw(batch 4 quart jars wheat oyster), @journal);
is($status, 0, 'a journal') or BAIL_OUT($err);

subtest 'a path is only a path' => sub {
    my $home = getcwd();
    mkdir "$scratch/paths";
    chdir "$scratch/paths";
    my $program = Jarside::program() =~ m{^/} ? Jarside::program() : "$home/" . Jarside::program();
    for my $path (':memory:', 'file:x?mode=memory', 'file:y', 'a%20b?c#d') {
        local $ENV{JARSIDE_NOW} = $now{JARSIDE_NOW};
        my $done = `'$program' record place attic --journal '$path' 2>&1`;
        is($? >> 8, 0, "$path: written") or diag $done;
        like(`'$program' list places --journal '$path' 2>&1`, qr/attic/, "$path: and kept");
        ok(-s $path, "$path: in a file of that name");
    }
    chdir $home;
};

subtest 'no output takes the place of a journal' => sub {
    my $before = slurp("$scratch/j.db");
    for my $args ([qw(due --ics)], [qw(due --html)], [qw(labels B1 --html)], [qw(review --html)], [qw(export --table vessel)]) {
        refused("@$args", 74, qr/j\.db: error: is a journal, or another database/, @$args, "$scratch/j.db", '--force', @journal);
    }
    symlink "$scratch/j.db", "$scratch/linked.db";
    refused('through a link', 74, qr/is a journal/, qw(due --ics), "$scratch/linked.db", '--force', @journal);
    spew("$scratch/j.db-wal", '') unless -e "$scratch/j.db-wal";
    refused('nor of its log', 74, qr/is a journal/, qw(due --ics), "$scratch/j.db-wal", '--force', @journal);
    refused('nor does its backup', 2, qr/is the journal itself/, 'backup', "$scratch/j.db", '--force', @journal);
    is(slurp("$scratch/j.db"), $before, 'it is as it was');
};

subtest 'a clock that cannot be' => sub {
    for my $env ([JARSIDE_NOW => '2026-02-30'], [JARSIDE_NOW => 'soon'], [TZ => 'XXX+24']) {
        my ($status, undef, $err) = run('list', @journal, { env => { %now, $env->[0] eq 'TZ' ? (JARSIDE_NOW => '') : (), @$env } });
        is($status, 2, "@$env: refused");
        like($err, qr/the clock cannot be read/, "@$env: told");
    }
};

subtest 'a backup that is none' => sub {
    my @new = ('--journal', "$scratch/deep/er/new.db");
    mkfifo("$scratch/pipe", 0600) or die $!;
    refused('a pipe', 65, qr/pipe: error: is not a plain file/, 'restore', "$scratch/pipe", @new);
    with('backup', "$scratch/b.db", @journal);
    my $holed = slurp("$scratch/b.db");
    is($holed =~ s/CREATE TABLE vessel /CREATE TABLE vassel /, 1, 'a journal without its table of vessels');
    spew("$scratch/holed.db", $holed);
    refused('it', 65, qr/damaged|not laid out as a journal|malformed/, 'restore', "$scratch/holed.db", @new);
    ok(!-e "$scratch/deep/er/new.db", 'nothing is put in its place');
    my ($status, $out, $err) = with('restore', "$scratch/b.db", @new);
    is($status, 0, 'a sound one is taken, and its folder made') or diag $err;
    like((with('list', @new))[1], qr/^B1 /m, 'and is the journal');
};

subtest 'what the check would call a fault is refused at entry' => sub {
    refused('an end before the beginning', 65, qr/had come to its end before it was inoculated/, qw(confirm B1-1 wet_rot --at 2026-01-01), @journal);
    refused('the year 1950', 65, qr/'at' of this outcome lies before 1990/, qw(confirm B1-1 wet_rot --at 1950-01-01), @journal);
    refused('a starter older than its parent', 65, qr/was made before what it came from/, qw(starter S2 --from S1 --at 2020-01-01), @journal) if with('correct', 'S1', 'made=2026-02-01', @journal);
    refused('a cook to come', 65, qr/lies in the future/, qw(correct C1 at=2031-01-01), @journal);
    refused('a cook after its batch', 65, qr/C1 was cooked after batch B1/, qw(correct C1 at=2026-03-21), @journal);
    refused('a label of 70 KB', 65, qr/longer than 120/, 'record', 'place', 'a' x 70_000, @journal);
    is((with(qw(journal check), @journal))[0], 0, 'and the journal is sound');
};

subtest 'what had no end or no bounds' => sub {
    refused('a number of twenty figures', 2, qr/there is no vessel/, qw(isolate B1 99999999999999999999), @journal);
    refused('a journal without a name', 74, qr/cannot create/, qw(journal demo), '');
    refused('a word too many', 2, qr/unexpected argument/, qw(rules learn x), @journal);
    for my $day ('9999-12-31', '9999-12-20') {
        my ($status, $out, $err) = with(qw(forecast --species shiitake --temp 22C --vessel jar:1litre --start), $day);
        is($status, 0, "a start on $day") or diag $err;
        unlike($out, qr/[^\x00-\x7f\xc2\xb0]|, *,|1970/, 'shows no day that there is not');
    }
};

subtest 'strange text' => sub {
    my $deep = spew("$scratch/deep.yaml", 'columns: ' . '[' x 200_000);
    my $evil = "\xe2\x80\xae";
    my $sheet = spew("$scratch/s.csv", "Run$evil,Bag,Date,What happened\nA${evil}B,1,2026-01-01,gone ${evil}green\n");
    my $started = time;
    refused('a map nested 200,000 deep', 65, qr/nested more than 32 deep/, 'import', $sheet, '--map', $deep, @journal);
    cmp_ok(time - $started, '<', 15, 'at once');
    my (undef, $guessed) = with('import', $sheet, '--guess');
    unlike($guessed, qr/$evil/, 'a guess shows nothing that turns the text around');
    like($guessed, qr/"Run\\u202e"/, 'and still says it');
    my (undef, undef, $err) = with('search', "\xff", @journal);
    like($err, qr/is not text in UTF-8/, 'a search for a bad byte');
    with('record', 'place', 'attic', "note=red\e[31m", @journal);
    my $pty = IO::Pty->new;
    my $pid = fork // die $!;
    if ($pid == 0) {
        open STDOUT, '>&', $pty->slave or die $!;
        %ENV = (%ENV, %now, TERM => 'xterm');
        exec Jarside::program(), qw(export --table place), @journal;
    }
    $pty->close_slave;
    my $shown = '';
    while (sysread $pty, my $more, 4096) { $shown .= $more }
    waitpid $pid, 0;
    like($shown, qr/attic/, 'a table on a terminal');
    unlike($shown, qr/\e\[31m/, 'does not steer it');
    is((with(qw(export --table place), @journal))[1] =~ /\e\[31m/, 1, 'in a file it is what it is');
};

subtest 'the history of the prompt' => sub {
    mkdir "$scratch/$_" for 'state', 'state/jarside';
    my $history = "$scratch/state/jarside/history";
    my %state   = (env => { %now, XDG_STATE_HOME => "$scratch/state" });
    my $target  = spew("$scratch/not-ours", "another's\n");
    symlink $target, $history or die $!;
    my (undef, $status) = talk([ 'green powder on top', 'leave' ], {%state});
    is($status, 0, 'beside a link');
    is(slurp($target), "another's\n", 'what it leads to is left alone');
    unlink $history;
    mkfifo($history, 0600) or die $!;
    my ($screen, $end) = talk([ 'green powder on top', 'leave' ], {%state});
    is($end, 0, 'beside a pipe it does not wait');
    like($screen, qr/mould/, 'and talks');
};

subtest 'a line without an end' => sub {
    for my $args ([qw(judge --lines)], ['ask']) {
        my ($status, $out, $err) = run(@$args, { in => 'a' x 3_000_000, env => \%now });
        cmp_ok($status, '<', 128, "@$args: comes to an end");
        cmp_ok(length($out . $err), '<', 500_000, "@$args: and does not say it all again");
    }
};

done_testing;
