#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# Remarks about whole batches of two to forty vessels, each with its opposite: what every vessel gets. All are invented.
use strict;
use warnings;
use File::Copy qw(copy);
use FindBin;
use lib $FindBin::Bin;
use Jarside;
use Test::More;

my $folder = scratch();
my $number = 0;
my %env;

# A new batch of so many; made once, then copied.
my %made;

sub batch_of {
    my ($vessels, $controls) = @_;
    my $made = $made{ $vessels . ' ' . ($controls // 0) } //= do {
        my $file = "$folder/made-$vessels-" . ($controls // 0) . '.db';
        run('batch', $vessels, qw(quart jars rye oyster 15 psi 90 min --controls),
            $controls // 0, { env => { JARSIDE_JOURNAL => $file, JARSIDE_NOW => '2026-03-01T18:30:00+00:00' } });
        $file;
    };
    %env = (JARSIDE_JOURNAL => "$folder/" . ++$number . '.db', JARSIDE_NOW => '2026-03-11T18:30:00+00:00');
    copy("$made$_", "$env{JARSIDE_JOURNAL}$_") or die "$made$_: $!" for grep { -e "$made$_" } '', '-wal';
}

# "1 3-5" as the labels they stand for.
sub labels { return [map { my ($from, $to) = /^(\d+)(?:-(\d+))?$/; map {"B1-$_"} $from .. $to // $from } split ' ', $_[0]] }

# Discarded, not kept but not discarded, kept, to be described, not covered, nothing said: numbers of vessels. 'isolate|keep': either
# of them, where the chance stands at the line between and growers accept both.
sub comes_to {
    my ($vessels, $controls, $remark, %expected) = @_;
    subtest $remark => sub {
        batch_of($vessels, $controls);
        my $answer = json('look', 'B1', $remark, qw(--yes --json), { env => {%env} });
        my %got = (describe => $answer->{to_describe}, left => $answer->{not_covered}, unsaid => $answer->{nothing_said});
        push @{ $got{ $_->{action} } }, $_->{vessel} for @{ $answer->{looks} };
        my $order = sub { [sort { ($a =~ /-(\d+)/)[0] <=> ($b =~ /-(\d+)/)[0] } @{ $_[0] // [] }] };
        for my $either (grep {/\|/} keys %expected) {
            for my $vessel (@{ labels($expected{$either}) }) {
                my @in = grep { grep { $_ eq $vessel } @{ $got{$_} // [] } } split /\|/, $either;
                is(@in, 1, "$vessel: $either");
                $got{$_} = [grep { $_ ne $vessel } @{ $got{$_} }] for @in;
            }
        }
        is_deeply($order->($got{$_}), labels($expected{$_} // ''), $_) for qw(discard isolate keep describe left unsaid);
    };
}

sub refused {
    my ($vessels, $remark, $pattern) = @_;
    batch_of($vessels);
    my ($status, $out, $err) = run('look', 'B1', $remark, { env => {%env} });
    is($status, 2, "$remark: refused");
    like($err =~ s/\s+/ /gr, $pattern, '... saying why');
    is((run(qw(list looks), { env => {%env} }))[1] =~ tr/\n//, 1, '... and nothing is saved');
}

# Each pair: a sick vessel among sound ones, and the same words about none.
comes_to(8, 0, 'all fine except 2: green spot, 6: wet at the bottom', discard => '2', 'discard|isolate' => '6', keep => '1 3-5 7-8');
comes_to(8, 0, 'all fine except 2: no green spot, 6: no wet grains', keep => '1-8');
comes_to(6, 0, 'B1-4 has a green patch, everything else looks good', discard => '4', keep => '1-3 5-6');
comes_to(6, 0, 'B1-4 has no green patch, everything else looks good', keep => '1-6');
comes_to(40, 0, '1-6 wet and sour, rest about 40% white, nothing odd', discard => '1-6', keep => '7-40');
comes_to(40, 0, '1-6 about 40% white, rest about 40% white too, nothing odd', keep => '1-40');
comes_to(4, 0, '2 green', discard => '2', unsaid => '1 3-4');
comes_to(4, 0, '2 white, nothing odd', keep => '2', unsaid => '1 3-4');
comes_to(5, 0, 'all fine exept 3: green patch', discard => '3', keep => '1-2 4-5');
comes_to(5, 0, 'all fine exept 3: no patch', keep => '1-5');
comes_to(6, 0, 'all fine except 3 and 5: 3 has a green spot, 5 is not moving', discard => '3', keep => '1-2 4 6', 'isolate|keep' => '5');
comes_to(6, 0, 'all fine except 3 and 5: 3 has no green spot, 5 looks good', keep => '1-6');
comes_to(8, 0, '1 has black dots with heads on stalks, 2-8 look good', discard => '1', keep => '2-8');
comes_to(8, 0, '1 looks good and has no black dots, 2-8 look good', keep => '1-8');
comes_to(12, 0, 'evrything about 30% white, green mould in jars 7 and 12', discard => '7 12', keep => '1-6 8-11');
comes_to(12, 0, 'evrything about 30% white, no mould in jars 7 and 12', keep => '1-12');
comes_to(8, 2, 'fine, about 30% white', keep => '1-8', left => '9-10');
comes_to(8, 2, 'fine, about 30% white, controls clean', keep => '1-10');
comes_to(8, 1, 'all fine, the control is 20% colonised', keep => '1-8', isolate => '9');
comes_to(8, 1, 'all fine, nothing growing in the control', keep => '1-9');
comes_to(20, 0, '3, 5-7 & 11 slimy and sour; 13: pink; the others white, nothing odd', discard => '3 5-7 11 13', keep => '1-2 4 8-10 12 14-20');
comes_to(20, 0, '3, 5-7 & 11 white, nothing odd; 13: no change; the others white, nothing odd', keep => '1-20');
comes_to(8, 0, 'fully colonised', keep => '1-8');
comes_to(8, 0, 'all fully colonised apart from 5 which smells sour and is slimy', discard => '5', keep => '1-4 6-8');
comes_to(6, 0, 'no change', keep => '1-6');
comes_to(6, 1, '1 and 2 are fine, the others are good too, the control is clean', keep => '1-7');
comes_to(6, 1, '1 and 2 are fine, the others are green, the control is clean', discard => '3-6', keep => '1-2 7');
comes_to(6, 0, 'all fine but 4', keep => '1-3 5-6', describe => '4');

comes_to(12, 0, '9: green spots, 10: no change, rest: all fine', discard => '9', keep => '1-8 10-12');
comes_to(12, 0, '9 green spots, 10 no change, rest all fine', discard => '9', keep => '1-8 10-12');
comes_to(12, 0, '9 green spots, rest fine', discard => '9', keep => '1-8 10-12');
comes_to(12, 0, 'green spots on 9, rest fine', discard => '9', keep => '1-8 10-12');
comes_to(12, 0, '9: black spots, rest fine', isolate => '9', keep => '1-8 10-12'); # seeds and husks are black too
comes_to(8, 0, '7 broke, others fine', discard => '7', keep => '1-6 8');
comes_to(8, 0, '7 cracked, glass everywhere, others fine', discard => '7', keep => '1-6 8');
comes_to(8, 0, '7: white, no broken glass, nothing odd; the others white, nothing odd', keep => '1-8');
comes_to(8, 0, 'the first three wet and sour, last 2 have green powder, 4-6 all fine about half white', discard => '1-3 7-8', keep => '4-6');
comes_to(8, 0, 'the first three half white, nothing odd, last 2 look good, 4-6 all fine 60% white', keep => '1-8');
comes_to(6, 0, '1 to 4 all good 40% white, 5 and 6 not looked at', keep => '1-4', unsaid => '5-6');
comes_to(24, 0, 'first six slimy and sour, last six half white, the middle ones good', discard => '1-6', keep => '7-24');
comes_to(24, 0, 'first six half white, last six half white, the middle ones slimy and sour', keep => '1-6 19-24', discard => '7-18');
refused(24, 'first six wet, the middle ones good', qr/which vessels are meant by 'middle ones good'/);

# Who names what is wrong with one has looked at the others: plain words call them good.
comes_to(8, 0, 'number 5 has gone sour and slimy, 2 slower than the others, rest white and nice', discard => '5', keep => '1-4 6-8');
comes_to(6, 0, "2: green spot, rest $_", discard => '2', keep => '1 3-6')
    for 'white', 'white and nice', 'all white and strong', 'clean and white', 'a third white', 'same as before';
comes_to(6, 0, "2: green spot, rest $_", discard => '2', keep => '1 3-6') for 'white with a yellow tinge';
comes_to(6, 0, '2: green spot, rest white and a bit greasy', discard => '1-6');
comes_to(6, 0, '1-2 slow, rest white', keep => '1-6');
# First growth where the starter went in, and clear wet on the glass, are as they should be.
comes_to(3, 0, $_, keep => '1-3')
    for 'all fine, white fuzz round the inoculation points', 'tufts of mycelium where I injected', 'white fluff on the wedges only',
    'looks good but a bit wet on the glass';
comes_to(3, 0, 'white fuzz round the inoculation points, green in the middle', discard => '1-3');
comes_to(8, 0, $_, keep => '1-8') for '1-8 all white except 4, 4 stopped growing at two thirds', 'just starting', 'everything colonised bar 8, 8 half white';
comes_to(3, 0, '3 cracked in half, rest fine', discard => '3', keep => '1-2');
# A mould that is named is a mould; a lid is no more than a way in.
comes_to(3, 0, "2 $_, rest fine", discard => '2', keep => '1 3') for 'trich', 'mouldy', 'contaminated';
comes_to(3, 0, '2 leaked, lid loose, rest fine', isolate => '2', keep => '1 3');
comes_to(4, 0, "1-3 white, 4 $_", isolate => '4', keep => '1-3') for 'white but doesnt smell good', 'not healthy', 'is not white';
comes_to(8, 0, '3 green spot, no change in the others', discard => '3', keep => '1-2 4-8');
comes_to(6, 0, 'none is green except 5', discard => '5', keep => '1-4 6');
comes_to(9, 0, '4 & 8 have yellow drops, nothing else odd, all the rest white and strong', keep => '1-9');
comes_to(4, 0, '2 got pins, other three still growing fine', keep => '1-4');
refused(5, '2 got pins, other three still growing fine', qr/which vessels are meant by 'other three/);
comes_to(10, 2, 'nothing on the controls, 3 and 9 slow, the others are going strong at 50%', keep => '1-12');
comes_to(6, 0, 'all six good exept nr 4 which has a grean spot by the lid', discard => '4', keep => '1-3 5-6');

comes_to(8, 0, 'last one has blue green fuzz, others white', discard => '8', keep => '1-7');
comes_to(8, 0, 'the last jar is not slimy, others ok', keep => '1-8');
comes_to(8, 0, 'all good bar 4 - green', discard => '4', keep => '1-3 5-8');
comes_to(8, 0, "$_, 2 has green dots", discard => '2', keep => '1 3-8') for 'nothing to report, all growing', 'nothing wrong with any of them';
comes_to(8, 0, '1 50%, 2 60%, 3 70%, 4 none, 5 to 8 50%', keep => '1-8');

subtest 'beside a lost one the others are kept and looked at sooner' => sub {
    for (['3: green spot, rest half white' => '2026-03-13'], ['half white' => '2026-03-14']) {
        my ($remark, $day) = @$_;
        batch_of(4);
        my ($look) = grep { $_->{vessel} eq 'B1-1' } @{ json('look', 'B1', $remark, qw(--yes --json), { env => {%env} })->{looks} };
        is_deeply([@$look{qw(action next_look)}], ['keep', $day], $remark);
    }
};

subtest 'why a vessel that looks healthy is isolated is said' => sub {
    batch_of(8);
    my $said = (run('look', 'B1', '3-5 green powder, 2 a brown spot, rest fine', '--yes', { env => {%env} }))[1] =~ s/\s+/ /gr;
    like($said, qr/B1-2: Isolate\. (?:Contamination cannot be ruled out \(\d+ %\)\. If it is not contaminated|Wet)[^.]*\. \w/, 'a sentence with the reason');
};

refused(8, 'all fine, 9 black spots', qr/not clear which vessels .*, so nothing was saved, not even for the others; name them by their numbers, with a colon/);
refused(8, '3 wet and sour, 4 pinkish orange patch, 5 6 nothin', qr/'nothin' says nothing about a vessel \(B1-5, B1-6\); nothing was saved.*Do not wait with B1-3, B1-4: Discard closed/);

refused(8, 'all fine 4', qr/what is 4 in 'all fine 4'\?/);
refused(8, 'all fine, one has a green spot', qr/which vessels are meant by 'one has a green spot'/);
refused(8, '2 of them are green, rest fine', qr/which vessels are meant/);
refused(8, 'all fine except 9: green', qr/no vessel 9 in B1; nothing was saved/);
refused(8, 'all green powder', qr/mean discard for 8 vessels \(B1-1 to B1-8\); add --yes/);

subtest 'what is not covered, and how it is looked at' => sub {
    batch_of(4);
    run('look', 'B1', '3: green patch', '--yes', { env => {%env} });
    my $said = (run('look', 'B1', 'all half white, nothing odd', { env => {%env} }))[1] =~ s/\s+/ /gr;
    like($said, qr/Not covered: B1-3\..*Once you have looked at each: jarside look B1-3 "what you see"/, 'the command is named');
};

subtest 'asked at a terminal' => sub {
    plan skip_all => 'no pseudo-terminals here' unless eval { require IO::Pty; IO::Pty->new };
    batch_of(4);
    my ($screen) = talk(['no'], { args => ['look', 'B1', '2-3 green powder, rest fine'], prompt => qr/: \z/, env => { %env, TERM => 'dumb' } });
    like($screen, qr/mean discard for B1-2, B1-3.*nothing was saved/s, 'no: nothing is saved');
    ($screen) = talk(['yes'], { args => ['look', 'B1', '2-3 green powder, rest fine'], prompt => qr/: \z/, env => { %env, TERM => 'dumb' } });
    like($screen, qr/B1-2, B1-3: Discard closed\..*understood: .*green.*Saved 4 looks\. To undo: jarside undo/s, 'yes: it is, and shown');
    my ($status) = run(qw(undo), { env => {%env} });
    is($status, 0, 'all of it is one act');
    is((run(qw(list looks), { env => {%env} }))[1] =~ tr/\n//, 1, '... which can be undone');
    batch_of(4);
    ($screen) = talk(['all fine except 3: green powder'], { args => ['look', 'B1'], prompt => qr/: \z/, env => { %env, TERM => 'dumb' } });
    like($screen, qr/What do you see in B1.*B1-3: Discard closed/s, 'a bare look at a batch asks what there is to see');
};

done_testing;
