#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# How growers talk at the prompt: what they deny, ask, take back or tell of something else is not taken for what they see.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use Jarside;
use Test::More;

my $scratch = scratch();

# The screen after each line of a conversation.
sub screens {
    my (undef, $out) = run({ in => join('', map { "$_\n" } @_), env => { XDG_CONFIG_HOME => $scratch, XDG_DATA_HOME => $scratch } });
    return map { s/\n +/ /gr =~ s/(?<=\S)\n(?=\S)/ /gr } (split /^> .*\n/m, $out)[ 1 .. @_ ];
}
sub understood { return ($_[0] =~ /Understood:(.*?)(?:So far|That changes|Not understood)/s)[0] // '' }

# ---- "no X" at a question of several words ------------------------------------------------------------
for my $denied ('no green', 'no green, just white', 'no green or black', 'no, no green', 'nothing green', 'not green') {
    my $last = (screens('rye, slow, day 14', $denied))[1];
    unlike(understood($last), qr/colours: (?:white, )?(?:green|black)/, "$denied: not seen");
    unlike($last, qr/to Discard/, "$denied: no alarm");
}
unlike(understood((screens('rye, slow, day 14', 'no mushroomy smell'))[1]), qr/smell noticed unasked: mushroomy/, 'no mushroomy smell: none');
like(understood((screens('oyster on rye, day 8, i see no mould'))[0]), qr/patches +none/, 'to see no mould is not to see one');

# ---- a question of the grower's own moves nothing -----------------------------------------------------
my @asked = screens('big green patch on my oyster grain', 'is it ok to shake it', 'can i eat it', 'is it dead');
my ($before) = $asked[0] =~ /(So far: .*?%)/;
like($asked[$_], qr/\Q$before\E/, "question $_ leaves the verdict as it was") for 1 .. 3;
unlike((screens('big green patch on my oyster grain is it ok to shake it'))[0], qr/separate and matt|Isolate/, 'nor in one line');

done_testing;
