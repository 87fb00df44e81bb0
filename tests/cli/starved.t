#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# Every place in the program that asks for memory is refused it once, in every act on the journal, in reviews, in what
# goes out and comes in: no crash, no hang, a message and exit 70 or 74, no block of memory left behind, no file half
# written, the journal sound and all of the act in it or nothing.
#
# Requests are told apart by the function that makes them and the one that called it; a loop that asks a thousand times at
# one place is refused at its first round, and a place that an earlier act has tried is not tried again. FAULTS=places
# looks two calls further (ten minutes), FAULTS=all tries every single request of every act (hours). Every record is
# invented.
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
my $left = "$desk.left";

# ---- acts ----------------------------------------------------------------------------------------

my $words = 'day 12, red and dusty near the top, floop, maybe blue';
my @acts  = (
    [ qw(look B3-2), $words ],
    [ qw(look B3-2 --json), $words ],
    [ qw(look B3), 'all fine except 2: red spot' ],
    [ qw(look B1-3 --corrects 4), 'day 10, smooth' ],
    [ qw(judge --vessel B3-2 --explain), $words ],
    [ qw(shake B2-2 B2-3) ],
    [ qw(move B3 attic) ], [ qw(discard B2-2) ], [ qw(isolate B2-3) ], [ qw(use B4-1) ],
    [ qw(confirm B2-1 crust --cause short_cook --how), 'plain to see' ],
    [ qw(correct C1 minutes=100) ], [ qw(correct event 1 withdraw) ],
    [ qw(starter S3 broth --from S1) ], [ qw(record cook C9 gauge=15psi minutes=90) ],
    [ qw(batch 3 pots corn amber), 'broth 4 ml', qw(--no-input) ],
    [ 'import', "$desk/more" ], [ 'import', "$desk/sheet.csv", '--map', "$desk/map.yaml" ],
    [ 'import', "$desk/sheet.csv", '--map', "$desk/map.yaml", '--dry-run' ], [ 'import', "$desk/sheet.csv", '--guess' ],
    [ 'restore', "$desk/b.db" ],
    [ 'backup', "$desk/c.db" ], [ 'export', "$desk/out" ], [ qw(export --table vessel), "$desk/v.csv" ], [qw(export --table look)],
    [qw(review --details)], [ 'review', '--json' ], [ 'review', '--html', "$desk/r.html" ],
    [ qw(review --details --csv), "$desk/table.csv" ], [ qw(review --json --csv), "$desk/table.csv" ],
    [ 'review', '--html', "$desk/r.html", '--csv', "$desk/table.csv" ],
    ['due'], [ qw(due --ics), "$desk/d.ics" ], [ qw(due --html), "$desk/d.html" ], [qw(due --sheet)], [qw(history B1 --html -)], ['stats'],
    ['list'], [qw(list B1)], [qw(list vessels --json)], [qw(history B1-1)], [qw(history S1 --json)], [qw(search red)],
    [ qw(labels B1 --html), "$desk/l.html" ], [qw(journal check)],
);

# The requests of the program's own pass base/memory.c: one call more.
$ENV{FAULTS} //= '';
my %calls = (FAULTY_CALLS => $ENV{FAULTS} eq 'places' ? 5 : 3);

my %tried;
my %filter = map { $_ => 1 } split ' ', $ENV{ACTS} // '';
for my $act (@acts) {
    next if %filter && !$filter{ $act->[0] };
    my $good = good_outcome($act);
    cmp_ok($good->{status}, '<', 2, title($act)) or diag $good->{err};
    lay_out();
    my ($places, $normal) = places(\%calls, @$act, { env => \%env });
    my @faults = $ENV{FAULTS} eq 'all'
        ? do { lay_out(); my %count = asked(@$act, { env => \%env }); map { $_ } 1 .. $count{memory} }
        : map {"site:$_"} grep { !$tried{$_}++ } @$places;
    my %bad;
    for my $fault (@faults) {
        unlink $left;
        my $got = outcome($act, { %calls, FAULTY_MEMORY => $fault, FAULTY_LEFT => $left });
        my $why = objection($good, $got, qr/memory/);
        push @{ $bad{$why} }, $fault if defined $why;
        my $leaks = Faulty::counts($left);
        my @leaks = grep { $leaks->{$_} > ($normal->{$_} // 0) } keys %$leaks;
        push @{ $bad{'memory left behind'} }, "$fault ($leaks[0])" if @leaks;
    }
    is(join("\n", map { @{ $bad{$_} } . " times $_ at " . join ' ', grep {defined} @{ $bad{$_} }[ 0 .. 3 ] } sort keys %bad), '', title($act) . ': ' . @faults . ' refusals');
}

done_testing;
