#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# A disk that fails, fills or answers by halves while a look is recorded, a review written, tables taken in or out, a copy
# made: a message and exit 74, no file half written under its name nor left under another, the journal sound and all of
# the act in it or nothing. Interrupted and short reads and writes change nothing at all. Every record is invented.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use Desk;
use Faulty;
use Jarside;
use Test::More;

plan skip_all => 'what counts or watches here cannot do without memory' if Jarside::program() =~ m{/\.build/(?:asan|coverage)/};
ok(faulty_built(), 'the faulty machine is built') or BAIL_OUT('no faulty machine');
set_desk();

my @acts = (
    [ qw(look B3-2), 'day 12, red spot' ],
    [ qw(look B3-2 --json), 'day 12, red spot' ],
    [ qw(review --json) ],
    [ 'review', '--html', "$desk/r.html" ],
    [ 'review', '--json', '--csv', "$desk/table.csv" ],
    [ 'import', "$desk/more" ],
    [ 'export', "$desk/out" ],
    [ qw(export --table vessel), "$desk/v.csv" ],
    [ 'backup', "$desk/c.db" ],
    [ 'restore', "$desk/b.db" ],
);

# The first of them, the last, where the act itself is, and some between; FAULTS=all: every one.
sub sampled {
    my ($count, $most) = @_;
    return 1 .. $count if ($ENV{FAULTS} // '') eq 'all' || $count <= $most;
    my %chosen = map { $_ => 1 } 1, $count - 1, $count, map { 1 + int($_ * $count / ($most - 3)) } 0 .. $most - 4;
    return sort { $a <=> $b } grep { $_ <= $count } keys %chosen;
}

my $why_disk = qr{readonly database|Input/output error|No space left|disk I/O error|full|Too many open files|unable to open|damaged};

sub faults {
    my (%count) = @_;
    return (map({ { FAULTY_WRITE => ($_ % 2 ? 'eio' : 'enospc') . ":$_" } } sampled($count{write}, 8)),
        map({ { FAULTY_READ => "eio:$_" } } sampled($count{read}, 6)),
        map({ { FAULTY_OPEN => $_ } } sampled($count{open}, 6)));
}

# SQLite takes an interrupted fsync for a failed one: then there may be nothing of the act, but still no half.
my @harmless    = ({ FAULTY_READ => 'short' }, { FAULTY_WRITE => 'short', FAULTY_READ => 'eintr' });
my $interrupted = { FAULTY_WRITE => 'eintr' };

# What is wrong with how the act ends one way and another, and where.
sub worst {
    my ($good, $act, $objection, @ways) = @_;
    my %bad;
    for my $way (@ways) {
        my $why = $objection->($good, outcome($act, $way), $why_disk);
        push @{ $bad{$why} }, join ' ', %$way if defined $why;
    }
    return join "\n", map {"$_ at @{ $bad{$_} }"} sort keys %bad;
}

sub unlike_it {
    my ($good, $got, $cause) = @_;
    return "exit $got->{status}, $got->{err}" if $got->{status} ne $good->{status};
    return objection($good, $got, $cause);
}

for my $act (@acts) {
    my $good = good_outcome($act);
    cmp_ok($good->{status}, '<', 2, title($act)) or diag $good->{err};
    lay_out();
    my @faults = faults(asked(@$act, { env => \%env }));
    is(worst($good, $act, \&objection, @faults), '', title($act) . ': ' . @faults . ' faults');
    is(worst($good, $act, \&unlike_it, @harmless), '', 'by halves and with interruptions it is the same');
    my $own = $act->[0] =~ /^(?:review|export)$/;
    is(worst($good, $act, $own ? \&unlike_it : \&objection, $interrupted), '', 'writes that are interrupted: ' . ($own ? 'the same' : 'whole or not at all'));
}

SKIP: {
    skip 'no /dev/full', 8 unless -c '/dev/full';
    for my $act ([ qw(look B3-2 --json), 'red spot' ], [qw(review --json)], [qw(export --table vessel)], [ 'review', '--html', '-' ]) {
        lay_out();
        local %ENV = (%ENV, %env);
        my $command = join ' ', map {"'$_'"} Jarside::program(), @$act;
        my $said = `$command 2>&1 >/dev/full`;
        is($? >> 8, 74, title($act) . ': into a file on a full disk');
        like($said, qr/No space left/, 'and says so');
    }
}

done_testing;
