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

# ---- what is asked at an open question is answered, and the question stays open ------------------------
my $open = (screens('rye, slow, day 14', 'is that bad'))[1];
like($open, qr/Your question \('is that bad'\): .*\n+Which colours/s, 'answered, and asked again');
unlike($open, qr/left open|rotten/, 'not taken for an answer');
like((screens('rye, slow, day 14', 'why do you ask this?'))[1], qr/Colour is|may change what to do/, 'why do you ask');
like((screens('rye, slow, day 14', 'what should i look for?'))[1], qr/Hold a torch/, 'what to look for');
like((screens('rye, slow, day 14', 'asdf', 'qwer', 'back'))[3], qr/Which colours/, 'a question left open comes back');
for my $asked ('so keep it', 'can i cook it again and use it', 'what about the others next to it', 'is it gonna spread', 'can i open it outside',
    'can i compost it', 'do i need a mask', 'will it be ok', 'can i scoop it out', 'what do i do now') {
    my $answer = (screens('big green patch on my oyster grain', $asked))[1];
    like($answer, qr/^Your question /m, "$asked: answered");
    unlike($answer, qr/\): Yes/, "$asked: never a yes that soothes");
}

# ---- not knowing, and then knowing something ------------------------------------------------------------
like(understood((screens('rye, slow, day 14', 'idk like white and brown'))[1]), qr/perhaps white, perhaps brown/, 'what follows "idk" is kept');
like((screens('rye, slow, day 14', 'i dont know man, its on the thick bit'))[1], qr/Not understood: 'thick'/, 'or told as not understood');

# ---- corrections ----------------------------------------------------------------------------------------
my $taken = understood((screens('rye jar day 9 white, its got green on it', 'no wait its not green it was the light'))[1]);
unlike($taken, qr/colours +green/, 'it was the light: no green');
like($taken, qr/came to nothing/, 'and that is told');
like(understood((screens('oyster rye day 8, white growth', $_))[1]), qr/age: 8 to 14 days \('9 days'\)/, $_)
    for 'sorry, was 9 days, not 8', 'sorry it is 9 days not 8';
like(understood((screens('oyster rye, day 24 white, tiny mushrooms, pins', 'wait thats not pins my bad its just drops'))[1]),
    qr/not white knots or pins, tiny mushrooms/, 'not pins at all');
unlike(understood((screens('oyster rye day 10, white', 'it was shaken on day 5 no wait day 6'))[1]), qr/age/, 'shaken on that day: no age');
like(understood((screens('popcorn jar green dusty patch, pressure cooked 60 minutes', 'i meant 90 minutes'))[1]), qr/75 to 119/, 'the figure that is known');
like((screens('white, rye, day 9, oyster', 'no i never said rye'))[1], qr/Understood|nothing new/, 'what was not said');

# ---- what is said of something else ---------------------------------------------------------------------
like((run('judge', '--json', 'oyster on rye, day 14, white, no patches; cooked an hour and half in the pressure cooker'))[1], qr/"m75_119"/, 'an hour and half');

done_testing;
