#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# What is done with vessels, and what may not be done. All vessels are invented.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use Jarside;
use Test::More;

my $folder = scratch();
my %env = (JARSIDE_JOURNAL => "$folder/journal.db", JARSIDE_NOW => '2026-03-01T18:30:00+00:00');
sub on { $env{JARSIDE_NOW} = "$_[0]T18:30:00+00:00" }
sub done { return json(@_, '--json', { env => {%env} }) }

sub refused {
    my ($title, $expected, $pattern, @args) = @_;
    my ($status, $out, $err) = run(@args, { env => {%env} });
    is($status, $expected, "$title: exit $expected");
    like($err, $pattern, "$title: says why");
    is($out, '', "$title: and nothing else");
}

is((run(qw(batch 8 quart jars rye oyster 15 psi 90 min --place closet --controls 1), { env => {%env} }))[0], 0, 'a batch');
on('2026-03-09');

subtest 'naming vessels' => sub {
    my @shaken = (['B1-3'], [qw(B1 4)], ['b1-5,6'], ['B1-7..8']);
    my @vessels = map { @{ done('shake', @$_)->{vessels} } } @shaken;
    is_deeply(\@vessels, [map {"B1-$_"} 3 .. 8], 'by label, number, list and range');
    is_deeply(done(qw(move B1 1-2 B1-2 tent))->{vessels}, ['B1-1', 'B1-2'], 'each once');
    is(scalar @{ done(qw(move B1 closet))->{vessels} }, 9, 'a batch alone is all of it');
    refused('no such vessel', 2, qr/B1-77.*did you mean 'B1-[0-9]'/, qw(shake B1-77));
    refused('no such number', 2, qr/no vessel 77 in B1/,   qw(shake B1 77));
    refused('a number alone', 2, qr/of which batch/,       qw(shake 3));
    refused('nobody',         2, qr/which vessel/,         qw(shake));
    refused('nowhere',        2, qr/where to/,             qw(move B1-3));
};

subtest 'never looked at' => sub {
    my ($status, $out) = run(qw(shake B1-8), { env => {%env} });
    like($out, qr/No look at B1-8 is on record\. Shake only what shows nothing odd/, 'is told');
    unlike($out, qr/If it was not shaken/, 'and nobody is told to shake what was shaken');
};

subtest 'the next look' => sub {
    my $isolated = done(qw(isolate B1-3));
    is($isolated->{look_again}, '2026-03-11', 'an isolated vessel is looked at again in two days');
    is(done(qw(move B1-3 shelf))->{place}, 'shelf', 'a new place is made on the way');
    like((run(qw(move B1-3 shelf2), { env => {%env} }))[1], qr/New: place shelf2\./, 'and said');
    is(done(qw(move B1-3 Shelf 2))->{place}, 'shelf2', 'which is the same in two words');
    is(done(qw(move B1-3 shelf 3))->{place}, 'shelf 3', 'a number behind it is of its name');
    refused('a slip',          2, qr/did you mean 'shelf/, qw(move B1-3 shefl3));
    refused('no word for one', 2, qr/there is no place 'thingy'; --new makes one/, qw(move B1-3 thingy));
    is(done(qw(move --new B1-3 thingy))->{place}, 'thingy', 'who is sure may');
    is(done(qw(move B1-3 shelf))->{place}, 'shelf', 'and back');
};

subtest 'what is not safe' => sub {
    refused('an isolated vessel is not used', 1, qr/is isolated.*jarside return/, qw(use B1-3));
    refused('nor shaken',                     1, qr/is isolated/,                 qw(shake B1-3));
    refused('nor put back without a look',    1, qr/no look at B1-3 since/,             qw(return B1-3));
    refused('a control is not used',          1, qr/never inoculated/,                qw(use B1-9));
    refused('one of several stops all',       1, qr/nothing was recorded/,            qw(use B1-1 B1-3));
    is(done(qw(use B1-1))->{event}, 'use', 'as the other one still can be');
};

subtest 'what does not fit' => sub {
    refused('isolated already', 2, qr/isolated already/, qw(isolate B1-3));
    refused('not isolated',     2, qr/is not isolated/,  qw(return B1-4));
    refused('used already',     2, qr/was used on 2026-03-09; if that is a mistake: jarside correct event \d+ withdraw/,
        qw(discard B1-1));
    refused('before its time',  2, qr/was not there yet: its batch began on 2026-/, qw(shake B1-4 --at 2026-02-01));
    refused('not yet',          2, qr/future/,            qw(shake B1-4 --at 2026-04-01));
};

subtest 'throwing away' => sub {
    my ($status, $out) = run(qw(discard B1-3), { env => {%env} });
    is($status, 0, 'one vessel goes without a question');
    like($out, qr/Do not open, shake or smell/, 'with the cautions');
    like($out, qr/B1-3: discarded, closed/,     'closed');
    cmp_ok(index($out, 'B1-3:'), '<', index($out, 'Do not open'), 'what was done first');
    refused('a whole batch', 2, qr/7 vessels at once; add --yes/, qw(discard B1));
    my $all = done(qw(discard B1 --force));
    is(scalar @{ $all->{vessels} }, 7, 'what was left of it');
    ok((grep {/closed/} @{ $all->{cautions} }), 'the cautions stand in the JSON, too');
    refused('nothing left', 2, qr/no vessel left to discard/, qw(discard B1 --force));
};

subtest 'no journal yet' => sub {
    my ($status, $out, $err) = run(qw(isolate B1-1), { env => { %env, JARSIDE_JOURNAL => "$folder/none.db" } });
    isnt($status, 0, 'fails');
    like($err, qr/no journal at .*none\.db yet; 'jarside batch' starts one/, 'and says how to start');
    ok(!-e "$folder/none.db", 'without making one');
};

subtest 'discarded for a reason in words of one\'s own' => sub {
    my %own = (JARSIDE_JOURNAL => scratch() . '/why.db', JARSIDE_NOW => '2026-03-01T18:30:00+00:00');
    run('batch', qw(8 quart jars rye oyster 15 psi 90 min), { env => {%own} });
    $own{JARSIDE_NOW} = '2026-03-09T18:30:00+00:00';
    my %why = ('B1-1' => ['contaminated', 'sour rot'], 'B1-2' => ['contaminated', 'because they were wet and stank'],
        'B1-3' => ['broken', 'broke in the sink'], 'B1-4' => ['broken', '--because', 'broken'], 'B1-5' => ['contaminated', '--because', 'black mould']);
    for my $vessel (sort keys %why) {
        my (undef, @words) = @{ $why{$vessel} };
        my ($status) = run('discard', $vessel, @words, { env => {%own} });
        is($status, 0, "$vessel @words");
    }
    my $out = scratch() . '/csv';
    is((run('export', $out, { env => {%own} }))[0], 0, 'exported');
    open my $csv, '<', "$out/event.csv" or die "event.csv: $!";
    my @told = map { /\b(contaminated|broken)\b(?!.*\b(?:contaminated|broken)\b)/ } grep {/discard/} <$csv>;
    is_deeply(\@told, [map { $why{$_}[0] } sort keys %why], 'and why each went');
    for my $words (['B1-6', 'B1-99'], ['B1', 'except', '6']) {
        isnt((run('discard', @$words, { env => {%own} }))[0], 0, "@$words: a vessel that is not there is no reason");
    }
    like((run('list', 'B1', { env => {%own} }))[1], qr/B1-6.*growing/, '... and nothing more was thrown away');
};

done_testing;
