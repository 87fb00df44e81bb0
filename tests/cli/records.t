#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# Records around batches, what vessels turned out to be, lists, lives, searches. All of it is invented.
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
sub page { my ($status, $out) = run(@_, { env => {%env} }); is($status, 0, "@_: fine"); return $out }

sub refused {
    my ($title, $pattern, @args) = @_;
    my ($status, $out, $err) = run(@args, { env => {%env} });
    is($status, 2, "$title: exit 2");
    like($err, $pattern, "$title: says why");
}

subtest 'starters and what they came from' => sub {
    is(answer(qw(starter oyster plate --source), 'a friend')->{record}{label}, 'S1', 'the first');
    my $second = answer(qw(starter S2 liquid culture --from S1))->{record};
    is($second->{kind},    'liquid_culture', 'its kind from words');
    is($second->{species}, 'oyster',         'its mushroom from what it came from');
    answer(qw(starter LC-7 --kind grain_spawn --from S2 --from S1));
    refused('a circle',    qr/LC-7 was itself made from S1/,    qw(starter S1 --from LC-7));
    refused('no such one', qr/there is no starter 'S9'/,    qw(starter S5 --from S9));
    refused('words',       qr/'purple' is not understood/,  qw(starter purple));
    refused('there it is', qr/S2 is there already/,         qw(starter S2 plate));
    my $life = answer(qw(history LC-7));
    is_deeply([map { $_->{label} } @{ $life->{from} }], [qw(S2 S1)], 'both parents');
    is($life->{from}[0]{from}[0]{label}, 'S1', 'and theirs');
    is_deeply([sort @{ answer(qw(history S1))->{made_from_it} }], [qw(LC-7 S2)], 'and the other way');
    like(page(qw(history LC-7)), qr/from S2.*\n    from S1, made 2026-03-01, from a friend/, 'told as a tree');
    like(page(qw(history S1)), qr/^starter S1\n  species +oyster\n/, 'below its name, what it is');
};

subtest 'another mushroom than it is made from' => sub {
    my ($status, $out) = run(qw(starter S20 shiitake plate --from S1), { env => {%env} });
    like($out =~ s/\s+/ /gr, qr/S20 is shiitake, and what it is made from oyster/, 'is told');
};

subtest 'records in words' => sub {
    my $lot = answer(qw(record lot RYE1), 'rye from Mill Lane, bought 2026-01-20')->{record};
    is($lot->{source}, 'Mill Lane', 'from where');
    like($lot->{bought}, qr/^2026-01-20/, 'and when');
    is($lot->{note}, undef, 'and nothing is left over');
    answer(qw(record session I50 at=yesterday));
    my $session = answer(qw(record session I50), 'still air box, quiet evening')->{record};
    like($session->{facts}, qr/inoculation_place=still_air/, 'of one that is there, too');
    is($session->{note}, 'still air box, quiet evening', 'what is not understood is its note');
};

subtest 'records by columns' => sub {
    my $cook = answer(qw(record cook C4 gauge=15psi minutes=1h30 altitude=5000ft venting=vented_10 at=yesterday))->{record};
    cmp_ok(abs($cook->{gauge} - 103.42), '<', 0.01, 'psi as kPa');
    is($cook->{minutes},  90,                  'hours as minutes');
    is($cook->{altitude}, 1524,                'feet as metres');
    is($cook->{facts},    'venting=vented_10', 'a sign is a fact');
    like($cook->{at}, qr/^2026-02-28/, 'and a moment in words');
    is(answer(qw(record cook C4 minutes=100))->{record}{minutes}, 100, 'of one that is there it corrects');
    is(answer(qw(record lot grain=rye moisture=12%))->{record}{label}, 'G1', 'a label of its own');
    is(answer(qw(record place), 'top shelf', 'celsius=75F')->{record}{label}, 'top shelf', 'or any other');
    refused('a column',      qr/a cook has no 'gage'; did you mean 'gauge'/, qw(record cook C4 gage=15psi));
    refused('a quantity',    qr/not a quantity/,                                qw(record cook C4 gauge=lots));
    refused('a word',        qr/no grain 'ryee'; did you mean 'rye'\?/, qw(record lot G9 grain=ryee));
    refused('no column',     qr/should be COLUMN=VALUE/,                     qw(record cook C4 15psi));
    refused('half of it',    qr/not a quantity/,                                qw(record cook C8 minutes=5 gauge=lots));
    refused('is not there',  qr/nothing in the journal is called 'C8'/,      qw(history C8));
    refused('other kinds',   qr/record what/,                                qw(record vessel B1-1));
};

page(qw(batch 6 quart jars rye S2 C4 --place), 'top shelf');
on('2026-03-08');
page(qw(batch 4 bags rye LC-7 15 psi 90 min));

subtest 'what it turned out to be' => sub {
    my $outcome = answer(qw(confirm B1-2 green mould --cause too_wet --how), 'plated');
    is($outcome->{finding}, 'green_mould',  'found by a name of two words');
    is($outcome->{status},  'contaminated', 'with its status');
    is($outcome->{cause},   'too_wet',      'and a cause');
    is_deeply(answer(qw(confirm B1 3 4 healthy_growth))->{vessels}, ['B1-3', 'B1-4'], 'several at once');
    refused('nearly right', qr/no finding 'grene_mould'; did you mean 'green_mould'/, qw(confirm B1-1 grene_mould));
    refused('ambiguous',    qr/'starter' could be starter_contaminated, starter_weak/,
        qw(confirm B1-1 green_mould --cause starter));
    refused('nothing',      qr/what did it turn out to be/, qw(confirm B1-1));
    like(page(qw(confirm B1-5 green)), qr/B1-5 is still on record as growing.*jarside discard B1-5/,
        'what still stands there is said');
    my ($status, $out, $err) = run(qw(use B1-5), { env => {%env} });
    is($status, 1, 'and it cannot be used');
    like($err, qr/counts as contaminated/, 'for that reason');
};

subtest 'lists' => sub {
    my $batches = answer(qw(list));
    is_deeply([map { $_->{label} } @{ $batches->{records} }], [qw(B1 B2)], 'batches, the newest last');
    is($batches->{records}[0]{vessels}{fate}{contaminated}, 2, 'with what became of them');
    is(answer(qw(list vessels))->{total}, 10, 'vessels');
    is(answer(qw(list B1))->{total}, 6, 'of one batch');
    is(answer(qw(list --fate contaminated))->{total}, 2, 'by fate');
    is(scalar @{ answer(qw(list vessels --limit 3))->{records} }, 3, 'no more than asked for');
    like(page(qw(list vessels --limit 3)), qr/B2-2.*B2-4.*newest 3 of 10/s, 'and how many there are');
    for my $kind (qw(starters lots cooks sessions places outcomes edits)) {
        like(page('list', $kind), qr/\S/, "list $kind");
    }
    like(page(qw(list starters)), qr/^S2 +oyster +Liquid culture +2026-03-01 +S1 +6 \(4 growing, 2 to\n +remove\)/m, 'a starter in a row');
    refused('no such kind',  qr/list what/,               qw(list spores));
    refused('no such state', qr/did you mean 'growing'/,  qw(list --state growin));
    unlike(page('list'), qr/.{81}/, 'no line is wider than the screen');
};

subtest 'lives' => sub {
    my $life = answer(qw(history B1-2));
    is($life->{batch}{label}, 'B1', 'of a vessel: its batch');
    is($life->{day}, 7, 'its age');
    is_deeply([map { $_->{kind} } @{ $life->{events} }], ['outcome'], 'and what happened');
    like(page(qw(history B1-2)), qr/inoculated from S2.*2026-03-08  day 7 +confirmed: green mould, caused by: .*plated/s,
        'as a timeline');
    my $cook = answer(qw(history C4));
    is($cook->{vessels}{lost}, 2, 'of a cook: what became of its vessels');
    is($cook->{events}[0]{record}{column}, 'minutes', 'and its corrections');
    like(page('history', 'top shelf'), qr/Vessels there now: 10 \(8 growing, 2 to remove\)/, 'of a place');
    like(page(qw(history B1)), qr/B1-2: confirmed: green mould/, 'of a batch');
    refused('of nobody', qr/nothing in the journal is called 'Q1'/, qw(history Q1));
    refused('nearly',    qr/did you mean 'B1-\d'/,                  qw(history B1-22));
};

subtest 'searching' => sub {
    my $found = answer(qw(search GREEN plated));
    is($found->{found}[0]{kind}, 'outcome', 'words of any case, all of them');
    is(scalar @{ $found->{found} }, 1, 'and nothing else');
    page(qw(record session I9), "note=\x{c3}\x{84}rger mit 100% Alkohol");
    is(answer('search', "\x{c3}\x{a4}RGER")->{found}[0]{kind}, 'session', 'beyond ASCII');
    is(answer(qw(search 100%))->{found}[0]{kind}, 'session', 'a percent sign is only that');
    like(page(qw(search nowhere)), qr/Nothing in the journal contains/, 'or nothing');
    refused('no words', qr/search for what/, 'search', ' ');
};

subtest 'hostile text' => sub {
    page(qw(record session I8), "note=<script>'); DROP TABLE look;--\e[31mred\e[0m\x{e2}\x{80}\x{ae}");
    for my $command ([qw(history I8)], [qw(search script)], [qw(list sessions)]) {
        my $out = page(@$command);
        unlike($out, qr/\e/, "@$command: no escape reaches the screen");
    }
    is(answer(qw(list))->{total}, 2, 'and the journal is whole');
};

# The invented season, counted anew from its tables.
subtest 'losses' => sub {
    my ($scratch, %env) = (scratch(), JARSIDE_NOW => '2026-04-22T18:00:00Z');
    my $ask = sub { my ($status, $out, $err) = run(@_, '--journal', "$scratch/season.db", { env => {%env} }); is($status, 0, "@_") or diag $err; $out };
    season("$scratch/season.db");
    my $batches = decode_json($ask->(qw(list --json --limit 0)))->{records};
    my %expected;
    for my $batch (@$batches) {
        my $fates = $batch->{vessels}{fate};
        for my $key ([ month => substr $batch->{at}, 0, 7 ], [ species => $batch->{species} ], [ starter => $batch->{starter} ]) {
            my $row = $expected{ $key->[0] }{ $key->[1] } //= { open => 0, sound => 0, lost => 0 };
            $row->{lost} += $batch->{vessels}{lost};
            $row->{$_} += $fates->{$_} for qw(open sound);
        }
    }
    my $stats = decode_json($ask->(qw(stats --json --cost 2)));
    for my $by (qw(month species starter)) {
        my %got = map { my %row = %$_; (delete $row{$by} => \%row) } @{ $stats->{$by} };
        is_deeply(\%got, $expected{$by}, "by $by");
    }
    my ($sound, $lost) = @{ $expected{species}{oyster} }{qw(sound lost)};
    is($stats->{cost_lost}, 2 * $lost, 'what they cost');
    cmp_ok(abs($stats->{cost_each} - 2 * ($sound + $lost) / $sound), '<', 1e-6, 'and a sound one with them');
    is($stats->{yielded}, undef, 'no yield where none is told');
    my $told = $ask->(qw(stats --yield 400g));
    like($told, qr/^S2 +30 +0 +20 +67 %$/m, 'told as a table');
    like($told, qr/The sound ones yield/, 'with the yield');
    unlike($told, qr/cost/, 'and no cost');
    local $env{COLUMNS} = 40;
    like($ask->('stats'), qr/^S2 +30 +0 +20 +67 %$/m, 'on forty columns as well');
    like($ask->(qw(list places)), qr/shelf .*\n.*\d+ lost/, 'as are the lost ones of a place');
    like($ask->(qw(list vessels --limit 1)), qr/state growing; day 23;/, 'where there is no room, each number has its name');
};

done_testing;
