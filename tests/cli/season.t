#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# A new grower's season of ten weeks, typed as one would type it: every line does what it says. All of it is invented.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use Jarside;
use Test::More;
use Text::ParseWords qw(shellwords);

# "# DAY" sets the clock; "$ COMMAND" must succeed, "? COMMAND" must be refused with a reason; "> PATTERN" is what the
# screen (or the reason) says, white space drawn together.
my $folder = scratch();
my %env = (JARSIDE_JOURNAL => "$folder/shed/journal.db", XDG_DATA_HOME => $folder, COLUMNS => 100);
my ($commands, $days, $said, $command) = (0, 0, '', '');

while (my $line = <DATA>) {
    chomp $line;
    next if $line eq '';
    if ($line =~ /^# (\S+)$/) {
        $env{JARSIDE_NOW} = "$1T18:30:00+01:00";
        $days++;
    } elsif ($line =~ /^([\$?]) jarside (.*)$/) {
        (my $how, $command) = ($1, $2);
        my ($status, $out, $err) = run((map { s/FOLDER/$folder/r } shellwords($command)), { env => {%env} });
        $commands++;
        $said = ($how eq '$' ? $out : $err) =~ s/\s+/ /gr;
        ok($how eq '$' ? $status == 0 : $status != 0, "$env{JARSIDE_NOW}: $command") or diag "exit $status: $out$err";
        isnt($said, '', '... is answered') if $how eq '?';
    } elsif ($line =~ /^> (.*)$/) {
        like($said, qr/$1/, "... $1") or diag $said;
    } else {
        fail("cannot read: $line");
    }
}
cmp_ok($commands, '>=', 60, 'a season of many commands');
cmp_ok($days, '>=', 10, 'on many days');
my ($status, $out) = run(qw(journal check), { env => {%env} });
is($status, 0, 'and the journal is in order') or diag $out;
done_testing;

__DATA__
# 2026-03-01
? jarside due
> there is no journal at .* yet; 'jarside batch' starts one
$ jarside record place closet temp=72F
> place closet: recorded\. celsius 22\.2 °C \(72 °F\)
$ jarside record cook help
> gauge in kPa; other units are converted .* altitude in m
$ jarside starter S1 oyster plate --source "a friend"
> starter S1: recorded
$ jarside starter S2 oyster liquid culture from S1
> kind liquid_culture
? jarside starter S3 oyster from S9
> nothing in the journal is called 'S9'; --new records it
? jarside batch 3000 quart jars rye oyster
> 3000 vessels\? Add --yes if there are so many
$ jarside batch 8 quart jars rye S2, 15 psi 90 min, altitude 2300 ft, closet
> B1: 8 x quart jar, oyster on rye, inoculated 2026-03-01\. .* New: cook C1, session I1, lot G1\. Known already: starter S2, place closet
$ jarside undo
> Undone: jarside batch 8 quart jars .*: 1 lot, 1 cook, 1 session, 1 batch, 8 vessels
$ jarside batch 8 quart jars rye S2, 15 psi 90 min, altitude 2300 ft, closet, 1 control
> Label them B1-1 to B1-8; controls, never inoculated: B1-9
$ jarside labels B1
> B1-1 .*B1-9
# 2026-03-04
$ jarside due
$ jarside look B1 "nothing yet"
> B1-1 to B1-9: Keep
# 2026-03-08
$ jarside due
> jarside look B1
$ jarside look B1 "all fine, about 10% white, controls clean"
> B1-1 to B1-8: Keep\. .*understood: .*coverage: about 10%
$ jarside history B1
# 2026-03-12
$ jarside look B1 "fine, about 30% white"
> B1-1 to B1-8: Keep\. .*Not covered: B1-9\.
$ jarside look B1-9 "nothing growing"
> B1-9, day 11, oyster on rye, never inoculated Keep
? jarside move B1 clost
> there is no place 'clost'; did you mean 'closet'\? --new adds it
$ jarside move B1-7..8 shelf
> B1-7, B1-8: moved to shelf
? jarside look B1 "all fine 4"
> what is 4 in 'all fine 4'\?
$ jarside look B1 "2 green"
> B1-2: Discard closed\. Green mould.*Nothing was said about B1-1, B1-3 to B1-9
$ jarside undo
> Undone: jarside look B1 2 green .*: 1 look
$ jarside look B1 "all fine except 2: green spot"
> B1-1, B1-3 to B1-9: Keep\. .*B1-2: Discard closed\.
? jarside shake B1-2
> its last look, on 2026-03-12, said discard
$ jarside discard B1-2
> B1-2: discarded, closed.*Do not open, shake or smell it
$ jarside confirm B1-2 green mold --how "saw it turn green through the glass"
> B1-2: confirmed as green mould
$ jarside shake B1 1 3 4 --at "last tuesday"
> B1-1, B1-3, B1-4: shaken, 2026-03-10\. Look again by 2026-03-1
$ jarside due --by tomorrow
# 2026-03-15
$ jarside look B1-5 "no change"
> Keep
$ jarside look B1 3 "half white, fluffy, nothing odd"
> B1-3: Keep
$ jarside history B1-5
> look \d+, keep
$ jarside discard B1-5 --because broken --note "dropped it"
> B1-5: discarded, closed
$ jarside list B1
> B1-5 +discarded
$ jarside list
> 1 lost
# 2026-03-19
$ jarside look B1 "fully colonised apart from 6, which is 60% white, nothing odd"
> B1-6: Keep
$ jarside batch 2 quart jars from B1-3
> Starter S3 is the grain of B1-3\.
$ jarside history B1-3
> Made from it: S3 \(in batch B2\)\.
$ jarside use B1-3
> B1-3: used
$ jarside starter S4 oyster from B1-4
> starter S4: recorded. species oyster kind \w*(grain|spawn)
$ jarside batch 6 pint jars wheat S4, 15 psi 75 min, shelf
> B3: 6 x .*pint jar, oyster on wheat, inoculated 2026-03-19
$ jarside history S1
> into S2.* into S3.* into S4
$ jarside history S4
> from B1-4, grown from S2.* from S1
# 2026-03-23
$ jarside due
> B2
$ jarside look B2 "1 is a tenth white, nothing odd; 2: nothing growing yet, looks clean"
> B2-1: Keep.*B2-2: Keep
$ jarside look B3 "1-4 10% white, nothing odd, 5 and 6: nothing growing yet, looks clean"
> B3-1 to B3-4: Keep.*B3-5, B3-6: Keep
$ jarside use B1-1 B1-6..8
> B1-1, B1-6 to B1-8: used
# 2026-03-28
$ jarside look B1-4 "grey fuzz on top, and it smells sour"
> discard today\. Made from B1-4: S4 \(in batch B3\)\.
$ jarside discard B1-4
$ jarside look B3 "all about 30% white, nothing odd except 5: slimy and sour"
> B3-5: Discard closed
$ jarside isolate B3 5
> B3-5: isolated
$ jarside history B3-1
> From starter S4 \(grain of B1-4, which counts as contaminated\)
$ jarside correct B3 species=oyster note="from the grain that went off"
> batch B3: corrected
$ jarside correct look B3-1 withdraw
> no longer counts
$ jarside history B3-1
> look \d+ withdrawn
$ jarside look B3-1 "30% white, nothing odd"
> Keep
# 2026-04-05
$ jarside confirm B3-5 wet rot
> B3-5: confirmed as wet spot
$ jarside confirm B3-5 yeast --how "smelled it outdoors"
> B3-5: confirmed as
$ jarside history B3-5
> \[corrected later\] confirmed: wet spot
$ jarside discard B3-5 --because contaminated
$ jarside record cook C9 gauge=15psi minutes=2h altitude=700m
> minutes 120 min
$ jarside batch 5 quart jars C9 S2 closet
> B4: 5 x quart jar.*Known already: starter S2, cook C9
$ jarside search sour
> slimy and sour
# 2026-04-12
$ jarside look B4 "all fine, about 20% white"
> B4-1 to B4-5: Keep
$ jarside backup FOLDER/april.db
$ jarside discard B4 --yes --because slip
> B4-1 to B4-5: discarded, closed
$ jarside undo
> Undone: jarside discard B4 .*: 5 events
# 2026-04-26
$ jarside look B4 "all 80% white, nothing odd"
> B4-1 to B4-5: Keep
$ jarside look B3-1..4 "fully colonised, nothing odd"
> Keep
$ jarside use B3-1..4
$ jarside discard B3-6 --because given
$ jarside list vessels --state used
# 2026-05-10
$ jarside use B4
> B4-1 to B4-5: used
$ jarside review
> You lost 3 of 20
$ jarside export FOLDER/season
$ jarside due
> Nothing is due|B1-9
