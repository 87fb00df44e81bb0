#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# What growers type as they speak: it is taken, or kept as a note and told, or the message says how to write it. A message
# about words has no path before it.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use Jarside;
use Test::More;

my $scratch = scratch();
my %env = (XDG_CONFIG_HOME => $scratch, JARSIDE_JOURNAL => "$scratch/j.db");
my $at = { env => { %env, JARSIDE_NOW => '2026-01-05T18:00:00Z' } };

# Runs it and checks its status; what it printed, errors behind.
sub said {
    my ($expected, @words) = @_;
    my ($status, $out, $err) = run(@words, $at);
    is($status, $expected, "@words");
    $err =~ s/\n +/ /g, $out =~ s/\n +/ /g;
    return $out . $err;
}

# ---- starters: what is behind "from", and labels -----------------------------------------------------
my $said = said(0, qw(starter OY1 oyster liquid culture from a friend));
like($said, qr/'a friend' names no record: saved as its source/, 'no record: its source, and told');
like($said, qr/source +a friend/, 'which it is');
$said = said(0, qw(starter OY2 oyster liquid culture from OY1 bought in May));
like($said, qr/'bought in May' names no record: saved as a note/, 'beside a record: a note');
like(said(2, qw(starter OY1 from a neighbour)), qr/'a neighbour' names no record; jarside correct OY1 source=/, 'of one that is there: how');
like(said(0, 'starter', 'OY-syr', qw(oyster spore syringe)), qr/^starter OY-syr: recorded/m, 'a label with a hyphen');
like(said(0, qw(starter OYX oyster spore syringe)), qr/^starter OYX: recorded/m, 'a label in capitals');
like(said(0, qw(starter LC oyster)), qr/kind +liquid_culture/, 'LC stays a kind');
like(said(2, qw(starter Bobs oyster agar)), qr/'Bobs' is not understood.*A label has a figure in it/, 'any other word: what a label looks like');

# ---- cooks ---------------------------------------------------------------------------------------------
$said = said(0, 'record', 'cook', '15 psi 90 min 6 jars');
like($said, qr/gauge +103 kPa \(15 psi\)/, 'figures are no label');
like($said, qr/minutes +90 min/, 'both');
like($said, qr/Not understood: '6'; all of it is saved as its note/, 'the rest is kept');
like(said(0, qw(record cook C9 14 psi 95 min)), qr/^cook C9: recorded\.\s+gauge +96.5 kPa \(14 psi\)\s+minutes +95 min/m, 'behind a label, too');
like(said(2, qw(record place shelf9 nothing)), qr/'nothing' should be COLUMN=VALUE/, 'what is not understood at all is refused');
$said = said(0, qw(batch 4 bags 5lb oats oyster OY1 15psi 90min));
like($said, qr/Cook C\d+ is not enough for these: a cautious estimate asks for \d+ minutes, this was 90\./, 'a batch says what cook says');
is(() = $said =~ /cautious estimate/g, 1, 'once');
unlike(said(0, qw(batch 4 quart jars oats oyster OY1 15psi 150min)), qr/cautious estimate/, 'a cook that is enough is no news');
$said = said(0, qw(batch 2 quart jars oats oyster OY1 15psi 120min));
unlike($said, qr/as in cook/, 'what was said was not carried over');
like(said(0, qw(batch 2 quart jars oats oyster OY1 14psi)), qr/Carried over from B3:.* 120 min as in cook/, 'only what was not');
$said = said(0, qw(cook --gauge 15psi --minutes 90 --vessel bag:5lb --grain oats));
like($said, qr/indicator: in \d+ % of vessels \(a yardstick, not counted below\)/, 'the indicator is not counted');
like($said, qr/at worst (?:about|over) .* spores live on as should, at best /, 'how far off, in plain words');

# ---- settings -------------------------------------------------------------------------------------------
like(said(0, qw(config temperature F)), qr/^temperature is now F\.$/m, 'NAME VALUE sets, and says so');
like(said(0, qw(config weight=lb pressure=psi)), qr/^weight is now lb\.\npressure is now psi\.$/m, 'NAME=VALUE too');
is(said(0, qw(config temperature)), "F\n", 'and shows');
$said = said(0, qw(cook --gauge 15psi --minutes 90 --vessel bag:5lb --grain oats));
like($said, qr/Steam at 15 psi \(103 kPa\).*: 249\.7 \S+F \(121\.0 \S+C\)/, 'a cook in the units of the settings');
like($said, qr/^degF\b/m, 'its curve');
like($said, qr/grain at 68 degF when loaded/, 'what is assumed');
like(said(0, qw(hydration --grain rye --dry 10lb)), qr/grain as bought: 10 lb \(4\.54 kg\)/, 'and what to weigh');
is(json(qw(cook --gauge 15psi --minutes 90 --vessel bag:5lb --json), $at)->{assumed}[-2], 'grain at 20 degC when loaded', 'JSON stays as it is');
like(said(0, qw(config temperature= weight= pressure=)), qr/^temperature is no longer set\.$/m, 'taken back');

# ---- forecasts of what is in the journal -------------------------------------------------------------------
like(said(0, qw(forecast B1)), qr/^Oyster on grain, Filter bag.*2026-01-0\d to 2026-01-/ms, 'of a batch');
like(said(0, qw(forecast --vessel B1-1 --temp 18C)), qr/^Oyster on grain, Filter bag/m, 'of a vessel');
is(said(2, qw(forecast X9)), "error: there is no vessel 'X9'\n", 'of none');
like(said(65, qw(forecast --vessel quart_jr)), qr/did you mean 'quart_jar'/, 'kinds as before');

# ---- words behind labels -----------------------------------------------------------------------------------
like(said(2, qw(isolate 3)), qr/3 of which batch\? If B4, the newest: jarside isolate B4 3/, 'the newest batch is offered');
run('look', 'B1', 'all half white, nothing odd', { env => { %env, JARSIDE_NOW => '2026-01-14T18:00:00Z' } });
$at->{env}{JARSIDE_NOW} = '2026-01-15T18:00:00Z';
like(said(2, qw(isolate 3-4)), qr/3-4 of which batch\? If B1, the one looked at last: jarside isolate B1 3-4/, 'then the one looked at');
like(said(0, qw(shake B1 all)), qr/^B1-1 to B1-4: shaken/m, 'all of it');
run('undo', $at);
like(said(0, qw(shake B1-1 to B1-3)), qr/^B1-1 to B1-3: shaken/m, 'a range in words');
like(said(0, qw(use B1-1 and B1-2 to inoculate B3)), qr/^B1-1, B1-2: used.*Saved as a note: to inoculate B3\./ms, 'what for is a note');
like(said(0, qw(use B1-3 2 kg for straw buckets)), qr/^B1-3: used.*Saved as a note: 2 kg for straw buckets\./ms, 'a weight is no vessel');
like(said(0, qw(history B1-3)), qr/2 kg for straw buckets/, 'and stays');
is(said(2, qw(use B1-4 B1-44)), "error: there is no vessel 'B1-44'; did you mean 'B1-4'?\n", 'a slip is no note, and no path stands before it');
like(said(2, qw(shake B1 to 3)), qr/^error: there is no vessel 'to'/, 'nor is half a range');
like(said(0, qw(move B1-4 to closet)), qr/^B1-4: moved to closet/m, 'to a place');
like(said(2, qw(move B1-4 closet because warm)), qr/'closet because' is no vessel, and 'warm' would be the place.*--note/, 'a place is one word');
like(said(2, 'correct', 'B1-4', 'I mixed it up'), qr/should be COLUMN=VALUE\. .*jarside undo\. .*correct look B1-4/, 'which way back there is');

# ---- remarks -------------------------------------------------------------------------------------------------
like(said(0, 'look', 'B2', 'half white, 3 as well now, 2 nothing yet'), qr/^B2-1, B2-3, B2-4: .*about half/m, 'as well: as was said before it');
like(said(0, 'look', 'B2', '9 green spots on 2'), qr/^B2-2: Discard/m, 'so many spots on a vessel');
like(said(2, 'look', 'B2', '2 black spots on 3'), qr/: "all fine except 3: green patch"\. Nothing was saved/, 'either: how to write it');
unlike(said(0, 'judge', 'water at the bottom is milky, water at the bottom'), qr/contradict/, 'a word and the words it stands in are one');
like(said(0, 'judge', 'grain is dry, grain is wet'), qr/contradict/, 'others may contradict');
unlike(said(0, 'judge', 'clear water at the bottom, milky water at the bottom'), qr/contradict|^Keep/m, 'what is worse stands');

# ---- lists, losses, the review ----------------------------------------------------------------------------------
like(said(0, 'list'), qr/^B2 .* 4 \(3 growing, 1 to remove\)/m, 'lost, and still on the shelf');
run(qw(discard B2-2 green), $at);
like(said(0, 'list'), qr/^B2 .* 4 \(3 growing, 1 lost\)/m, 'lost');
like(said(0, 'stats'), qr/"of ended": the share lost among vessels used, discarded or found lost/, 'of what the share is');
like(said(0, 'review'), qr/Next: in the next batch change one thing for half of the vessels/, 'nothing found: what to do next');

# ---- commands by other names ---------------------------------------------------------------------------------------
like(said(2, $_), qr/did you mean 'jarside hydration'\?/, 'by its verb') for qw(hydrate hydrat);
like(said(2, 'sterilise'), qr/did you mean 'jarside cook'\?/, 'as others spell it');
like(said(2, qw(add starter)), qr/did you mean 'jarside starter'\?/, 'behind a verb');
like(said(2, qw(water drops on glass)), qr/did you mean 'jarside hydration'\?.*jarside judge/, 'or it is a description');

done_testing();
