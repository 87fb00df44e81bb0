#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# Two people at two machines: labels of a station begin with its letter, so that their journals merge both ways without a
# refusal and are then the same; older journals, which both begin at B1, merge behind a prefix; and where one label has two
# contents both are shown, and one word settles it. All of it is invented.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use Jarside;
use Test::More;

my $scratch = scratch();
my $day     = 1;

sub at {    # a command at a station
    my ($station, $journal, @args) = @_;
    my ($status, $out, $err) = run(@args, '--journal', "$scratch/$journal.db",
        { env => { JARSIDE_NOW => sprintf('2026-03-%02dT18:00:00Z', $day), JARSIDE_STATION => $station, JARSIDE_PERSON => { K => 'Ann', M => 'Ben' }->{$station} // '' } });
    return ($status, $out . $err);
}

sub done { my ($station, $journal, @args) = @_; my ($status, $said) = at($station, $journal, @args); is($status, 0, "$journal: @args") or diag $said; return $said }

# What a journal holds: every table's rows without the numbers that each journal gives by itself.
sub contents {
    my ($journal) = @_;
    my %rows;
    for my $table (qw(starter lot cook session place batch vessel parent look event outcome edit)) {
        my (undef, $out) = at('', $journal, 'export', '--table', $table);
        my (undef, @lines) = split /\r\n/, $out;
        $rows{$table} = [ sort map { s/^\d+,//r } @lines ];
    }
    return \%rows;
}

sub a_week_at {
    my ($station, $journal) = @_;
    my $b = $station eq '' ? 'B1' : "$station-B1";
    $day = 1;
    done($station, $journal, qw(batch 4 quart jars wheat oyster), '15 psi 90 min, lc 3 ml, closet');
    $day = 6;
    done($station, $journal, 'look', $b, 'all fine except 2: green powdery patch');
    done($station, $journal, 'discard', "$b-2");
    $day = 8;
    done($station, $journal, 'confirm', "$b-2", 'green_mould', '--how', 'under a lens');
    done($station, $journal, 'move', "$b-3", 'shelf');
    return $b;
}

subtest 'two stations, both ways' => sub {
    is(a_week_at('K', 'ann'), 'K-B1', 'one');
    a_week_at('M', 'ben');
    like(done('K', 'ann', 'list'), qr/^K-B1 .*K-S1 K-C1 K-I1/m, 'what is new is of the station');
    like(done('K', 'ann', 'history', 'K-B1-3'), qr/K, Ann/, 'and each act says who did it, and where');
    done('', 'ann', 'export', "$scratch/from-ann");
    done('', 'ben', 'export', "$scratch/from-ben");
    $day = 9;
    unlike(done('K', 'ann', 'import', "$scratch/from-ben"), qr/refused/, 'nothing is refused');
    unlike(done('M', 'ben', 'import', "$scratch/from-ann"), qr/refused/, 'the other way, neither');
    is_deeply(contents('ann'), contents('ben'), 'and both hold the same');
    like(done('K', 'ann', qw(journal check)), qr/no errors/, 'which is sound');
    like(done('K', 'ann', 'import', "$scratch/from-ben"), qr/Nothing new/, 'a second time there is nothing new');
    like(done('K', 'ann', qw(batch 2)), qr/^K-B2: /m, 'and each goes on counting its own');
};

subtest 'who works alone' => sub {
    is(a_week_at('', 'alone'), 'B1', 'has labels without a letter');
    like(done('', 'alone', 'list'), qr/^B1 /m, 'as ever');
    my ($status, $said) = at('a place', 'alone', 'list');
    is($status, 2, 'a station is of letters');
    like($said, qr/'a place' is no station/, 'told');
};

subtest 'older journals that both begin at B1' => sub {
    a_week_at('', $_) for 'old-ann', 'old-ben';
    done('', 'old-ben', qw(correct C1 minutes=120));
    done('', 'old-ben', 'export', "$scratch/old-ben");
    my ($status, $said) = at('K', 'old-ann', 'import', "$scratch/old-ben");
    is($status, 65, 'as they are they are refused');
    like($said, qr/cook 'C1' differs, in\s+the\s+journal\s+\|\s+in\s+the\s+file:\s+minutes\s+'90'\s+\|\s+'120'.*--keep\s+journal\s+or\s+--keep\s+file/s, 'with both sides, and the way out');
    done('K', 'old-ann', 'import', "$scratch/old-ben", '--prefix', 'M');
    like(done('K', 'old-ann', 'list'), qr/^B1 .*^M-B1 .*M-S1 M-C1 M-I1/ms, 'behind a letter they stand side by side');
    like(done('K', 'old-ann', 'import', "$scratch/old-ben", '--prefix', 'M'), qr/Nothing new/, 'once');
    like(done('K', 'old-ann', qw(journal check)), qr/no errors/, 'and it is sound');
};

subtest 'one record, told in two ways' => sub {
    for my $keep (qw(journal file)) {
        done('', "$keep-a", 'record', 'place', 'attic', 'temperature=20C');
        done('', "$keep-b", 'record', 'place', 'attic', 'temperature=23C', 'note=by the flue');
        done('', "$keep-b", 'export', "$scratch/$keep-b");
        like(done('', "$keep-a", 'import', "$scratch/$keep-b", '--keep', $keep), qr/1 resolved \(kept the ${keep}'s\)/, "settled for the $keep");
        my ($place) = @{ contents("$keep-a")->{place} };
        is($place, $keep eq 'file' ? 'attic,23,by the flue' : 'attic,20,', "the ${keep}'s stands");
    }
    like(join("\n", @{ contents('file-a')->{edit} }), qr/place,attic,celsius,20,23/, 'and the correction is kept');
};

done_testing;
