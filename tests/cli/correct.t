#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# `jarside correct`: slips are mended, and what was there before is kept. All of it is invented.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use Jarside;
use Test::More;

my $folder = scratch();
my %env = (JARSIDE_JOURNAL => "$folder/journal.db", JARSIDE_NOW => '2026-03-01T18:30:00+00:00');
sub on { $env{JARSIDE_NOW} = "$_[0]T18:30:00+00:00" }
sub answer { return json(@_, '--json', { env => {%env} }) }

sub refused {
    my ($title, $pattern, @args) = @_;
    my ($status, $out, $err) = run('correct', @args, { env => {%env} });
    isnt($status, 0, "$title: refused");
    like($err, $pattern, "$title: says why");
}

answer(qw(batch 6 quart jars rye oyster 15 psi 90 min --place closet));
on('2026-03-05');

subtest 'a column of a record' => sub {
    cmp_ok(abs(answer(qw(correct C1 gauge=12psi))->{record}{gauge} - 82.74), '<', 0.01, 'with its unit');
    is(answer(qw(correct B1 species=shiitake dose=80g))->{record}{unit}, 'g', 'a dose brings its unit');
    is(answer(qw(correct vessel B1-2 note=chipped))->{record}{note}, 'chipped', 'the kind may be said');
    answer(qw(record place shelf));
    is(answer(qw(correct B1-2 place=shelf))->{record}{stands}, 'shelf', 'what depends on it follows');
    is(answer(qw(correct C1 venting=not_vented))->{record}{facts}, 'venting=not_vented', 'a fact');
    is(answer(qw(correct C1 venting=vented_10))->{record}{facts}, 'venting=vented_10', 'a newer one of the same takes its place');
    my $edits = answer(qw(list edits));
    like($edits->{records}[0]{was}, qr/^103\.42/, 'what it was is kept');
    is(answer(qw(history C1))->{events}[0]{kind}, 'edit', 'and is part of its life');
};

subtest 'an event that did not happen' => sub {
    on('2026-03-06');
    answer(qw(discard B1-3));
    is(answer(qw(history B1-3))->{record}{state}, 'discarded', 'it is gone');
    is(answer(qw(correct event B1-3 withdraw))->{did}, 'corrected', 'taken back by the label of the vessel');
    my $life = answer(qw(history B1-3));
    is($life->{record}{state}, 'growing', 'it is there again');
    is($life->{record}{due}, '2026-03-06', 'and to be looked at today');
    is_deeply([map { $_->{counts} ? 1 : 0 } @{ $life->{events} }], [0, 1], 'the event stays, and no longer counts');
    refused('twice', qr/was corrected already/, qw(event 1 withdraw));
    refused('half',  qr/can only be withdrawn/,      qw(event B1-3 shake));
    refused('none',  qr/has no event to correct/, qw(event B1-4 withdraw));
};

subtest 'an outcome that was another' => sub {
    answer(qw(confirm B1-4 green_mould --how), 'by eye');
    is(answer(qw(history B1-4))->{record}{fate}, 'contaminated', 'as it was told');
    answer(qw(correct outcome B1-4 healthy_growth));
    is(answer(qw(history B1-4))->{record}{fate}, 'sound', 'as it is');
    is(answer(qw(list outcomes))->{total}, 2, 'both are kept');
};

subtest 'a look that was another' => sub {
    answer(qw(look B1-5), 'day 6, powdery green patch by the lid');
    is(answer(qw(history B1-5))->{record}{fate}, 'contaminated', 'as it was told');
    answer(qw(correct look B1-5), 'day 6, thick white growth all over, no other colour, no smell');
    my $life = answer(qw(history B1-5));
    is($life->{record}{fate}, 'open', 'as it is');
    is_deeply([map { $_->{counts} ? 1 : 0 } @{ $life->{events} }], [0, 1], 'the older one stays, and no longer counts');
    like((run(qw(correct look 999 white), { env => {%env} }))[2], qr/no look 999/, 'none of that number');
};

subtest 'what cannot be' => sub {
    refused('nothing',         qr/correct what\?/);
    refused('nobody',          qr/nothing in the journal is called 'Q7'/, qw(Q7 note=x));
    refused('no column',       qr/correct what about it/,                     qw(C1));
    refused('a wrong column',  qr/did you mean 'gauge'/,                   qw(C1 gage=12psi));
    refused('a derived one',   qr/has no 'state'|no 'state' that could/,   qw(B1-2 state=used));
    refused('a label taken',   qr/'B1-3'/,                                   qw(vessel B1-2 label=B1-3));
    refused('half of several', qr/not a quantity/,                            qw(C1 minutes=80 altitude=high));
    is(answer(qw(history C1))->{record}{minutes}, 90, 'changes nothing');
};

subtest 'a look at what was thrown away since' => sub {
    $env{JARSIDE_JOURNAL} = "$folder/gone.db";
    on('2026-03-01');
    answer(qw(batch 3 quart jars rye oyster 15 psi 90 min));
    on('2026-03-09');
    my $look = answer(qw(look B1-1), 'slimy and wet at the bottom, sour smell')->{look};
    answer(qw(discard B1-1));
    on('2026-03-12');
    is(answer(qw(judge --vessel B1-1))->{action}, 'discard', 'it is judged as it last was');
    my ($status, $out) = run(qw(correct look B1-1), 'all white, no smell', { env => {%env} });
    is($status, 0, 'what was said of it is corrected');
    my $life = answer(qw(history B1-1));
    is($life->{record}{state}, 'discarded', 'and it stays what it was');
    is($life->{record}{due} // '', '', 'and is not looked at again');
    ($status) = run(qw(look B1-1 --at 2026-03-08), 'half white', { env => {%env} });
    is($status, 0, 'a look of before is told later');
    ($status) = run(qw(look B1-1), 'half white', { env => {%env} });
    isnt($status, 0, 'one of today is not');
};

done_testing;
