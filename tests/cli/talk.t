#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# The conversation, on a pseudo-terminal: five vessels from an empty prompt to a verdict in at most eight questions,
# and everything else one can type.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use Jarside;
use IO::Pty;
use Test::More;

plan skip_all => 'no pseudo-terminals here' unless eval { IO::Pty->new };

# Each grower knows these things of the vessel and answers nothing else. All five are invented.
my %ask = (
    patches => qr/odd-looking patches/, edge => qr/edge between/, surface => qr/surface look/, kinds => qr/white of one kind/, smell => qr/smell/,
    wetness => qr/how wet/, feel => qr/feel through/, colour => qr/[Cc]olours do you see/, grain => qr/kernels without growth/,
    progress => qr/moved since you last/, change => qr/patch do between/, liquid => qr/any liquid/, place => qr/Where is the odd/,
    growth => qr/white growth (?:itself )?look/, day => qr/days since/, coverage => qr/[Hh]ow much|per ?cent/,
    temperature => qr/warm/, species => qr/[Ss]pecies|mushroom is it|Which mushroom/, pins => qr/pins|knots/,
);
my %sound = (patches => 'none', kinds => 'all of one kind', edge => 'none', smell => 'none', wetness => 'normal', feel => 'firm', liquid => 'none',
    grain => 'separate', growth => 'thick white', colour => 'white', surface => 'none');
my %vessel = (
    'green-powder' => { expect => 'Discard',
        knows => { patches => 'one', colour => 'green, white', surface => 'powdery', place => 'by the port', day => '12',
            edge => 'a ring', smell => 'none', wetness => 'normal' } },
    'sour-and-wet' => { expect => 'Discard|Isolate',
        knows => { patches => 'none', colour => 'grey', grain => 'greasy', liquid => 'cloudy', smell => 'sour', wetness => 'wet',
            day => '5' } },
    'yellow-drops' => { expect => 'Keep',
        knows => { %sound, liquid => 'clear coloured drops', coverage => '90 %', day => '14' } },
    'cold-stall' => { expect => 'Keep|Isolate',
        knows => { %sound, coverage => '40 %', temperature => '58F', day => '21', progress => 'not at all' } },
    'pink-oyster' => { expect => 'Keep',
        knows => { %sound, species => 'pink oyster', colour => 'pink, white', day => '10' }, first => 'pink oyster on rye' },
);

for my $name (sort keys %vessel) {
    my ($screen, $status, $questions) = converse($vessel{$name});
    is($status, 0, "$name: ends well");
    my ($action) = $screen =~ /^((?:Keep|Isolate|Discard)\b[^\n]*)/m;
    like($action // '', qr/^(?:$vessel{$name}{expect})/, "$name: $vessel{$name}{expect}") or diag $screen;
    cmp_ok($questions, '<=', 8, "$name: $questions questions");
    golden("talk-$name.txt", $screen, "$name: the whole conversation as before");
}

# Starts from an empty prompt (or from one remark), answers each question by what is known of the vessel, 'unknown'
# otherwise, until the verdict; then leaves.
sub converse {
    my ($vessel) = @_;
    my $questions = 0;
    my ($screen, $status) = talk_by(sub {
        my ($page) = @_;
        return '' if $page =~ /\(Enter for more\) \z/;
        return $vessel->{first} // '' if $page =~ /What do you see\?/;
        return 'leave' if $page =~ /about the cause|no more questions/;
        $questions++;
        return 'leave' if $questions > 12;
        my ($question) = $page =~ /\n([^\n]+(?:\n[^\n]+)?\?)\n/;
        for my $sign (sort keys %{ $vessel->{knows} }) {
            return $vessel->{knows}{$sign} if ($question // '') =~ $ask{$sign};
        }
        return 'unknown';
    });
    return ($screen, $status, $questions);
}

# What must not be done is never answered with a yes, whatever the vessel.
for my $said ('white all over, tiny mushrooms, day 20', 'green powder on top', 'bottom is wet and sour', 'day 5, nothing yet') {
    for my $asked ('can i eat it', 'is it safe to eat', 'is it safe to smell', 'can i open it', 'can my chickens eat it') {
        my ($answer) = (run('judge', "$said, $asked?"))[1] =~ /^Your question \([^)]*\): (\w+)/;
        like($answer // 'nothing', qr/^(?:No|Not|There)$/, "$said: $asked");
    }
}

# Three growers who ask something of their own, in a window of 80 by 24: no screen is longer, and the verdict answers first.
for my $asked ([ 'too-quick', qr/^Your question \('.*too quick'\): /m, 'blue oyster jar on rye, all white on day 9 at 23C, is that too quick?',
        qr/one kind/ => 'all the same', qr/patches do you/ => 'none' ],
    [ 'killed-it', qr/^Your question \('did I kill it'\): /m, 'my lions mane bag got to 38C for a day on the heat mat, stopped at half, did I kill it?',
        qr/patches do you/ => 'none', qr/one kind/ => 'its all the same stuff i reckon', qr/kernels without/ => 'loose and dull', qr/liquid/ => 'nope bone dry' ],
    [ 'is-it-contam', qr/^Your question \('is this contam'\): /m, 'day 8 oyster, white fluffy bit on top that looks different to the rest, is this contam?',
        qr/edge between/ => 'sharp', qr/patches do you/ => 'just the one', qr/do between/ => 'bigger' ]) {
    my ($name, $answered, $first, @knows) = @$asked;
    my @long;
    my ($screen) = talk_by(sub {
        my ($page) = @_;
        push @long, $page if ($page =~ tr/\n//) >= 24;
        return '' if $page =~ /\(Enter for more\) \z/;
        return $first if $page =~ /What do you see\?/;
        return 'leave' if $page =~ /about the cause|no more questions/;
        my ($question) = $page =~ /.*\n\n(.*?\?)\n/s;
        for (my $i = 0; $i < @knows; $i += 2) { return $knows[$i + 1] if ($question // '') =~ $knows[$i] }
        return 'idk';
    });
    is("@long", '', "$name: no screen is longer than the window");
    like($screen, $answered, "$name: the question is answered");
    my ($verdict) = $screen =~ /.*\n\n(Your question.*?\n)(?:Ask about|There are no more)/s;
    cmp_ok(($verdict // '') =~ tr/\n//, '<=', 21, "$name: the verdict is short") or diag $verdict;
    golden("talk-$name.txt", $screen, "$name: the whole conversation as before");
}

subtest 'not knowing sets nothing, erases nothing and is always understood' => sub {
    my @ways = ('dont know', "I don't know", 'idk', 'unsure', "can't tell", 'no clue', 'pass', 'cant remember', "don't know, i bought it",
        'dont know how many', 'havent looked', 'dont know, havent moved it', 'cant see');
    for my $way (@ways) {
        my ($screen) = talk([ 'day 12, a whitish patch, no green', $way, 'so far', 'leave' ]);
        my ($after) = $screen =~ /\Q> $way\E\r?\n(.*)/s;
        unlike($after, qr/not understood|says nothing new|Which is right/i, "'$way' is an answer");
        like($after, qr/not green/, "'$way' erases nothing");
        my @asked = $screen =~ s/> so far.*//sr =~ /^(.+\?)$/mg;
        my %times; $times{$_}++ for @asked;
        is_deeply([ grep { $times{$_} > 1 } keys %times ], [], "'$way': no question twice");
    }
};

subtest 'what an answer was taken for, and what it changes, is said' => sub {
    my ($screen) = talk([ 'white all over, oyster, day 12', 'green powder on top', 'leave' ]);
    like($screen, qr/Understood:\n.*powdery/s, 'understood');
    like($screen, qr/That changes the advice from \w+ to Discard/, 'the change of advice is announced');
};

subtest 'words that act' => sub {
    my ($screen, $status) = talk([ 'day 12, growing, a bit odd', 'why', 'so far', 'help', 'unknown', 'back', 'so far', 'verdict', 'details', 'leave' ]);
    is($status, 0, 'leaves well');
    like($screen, qr/age.*12/s, 'understood');
    like($screen, qr/answer may change|Colour is|helps/i, 'why is answered');
    like($screen, qr/taken back/, 'back goes back');
    like($screen, qr/Most likely inside/, 'verdict now');
};

subtest 'the next vessel, without leaving' => sub {
    my ($screen) = talk([ 'green powder by the lid, oyster', 'next jar', 'half white, shiitake on oats', 'so far', 'leave' ]);
    like($screen, qr/Discard closed:.*The next vessel\..*What do you see\?/s, 'after the verdict on the first');
    my ($then) = $screen =~ /> so far(.*)> leave/s;
    like($then, qr/Shiitake/, 'what is said of it is known');
    unlike($then, qr/powder|colours +green/i, 'and nothing of the one before');
};

subtest 'a no that cannot answer belongs to what follows' => sub {
    my $first = 'moisture on the glass, shiitake, about three quarters through, white';
    my ($screen) = talk([ $first, 'no, I have seen no patches', 'so far', 'leave' ]);
    like($screen, qr/What do the kernels.*\(the grain: left open\.\)/s, 'the question is left open, and that is said');
    my ($known) = $screen =~ /> so far(.*)> leave/s;
    like($known, qr/odd patches +none/, 'the patches are none');
    unlike($known, qr/the grain +none/, 'the grain is not');
};

subtest '^C and ^D' => sub {
    my ($screen, $status) = talk([ "\cC", 'green powder', "\cD" ]);
    is($status, 0, '^D leaves with status 0');
    like($screen, qr/Discard/, 'and what was told is not lost');
};

subtest 'a narrow window' => sub {
    my ($screen, $status) = talk([ 'green powder by the port', 'leave' ], { columns => 20, rows => 24 });
    is($status, 0, 'leaves well');
    like($screen, qr/Discard/, 'with a verdict');
    my ($longest) = sort { $b <=> $a } map { length } grep { !/^> / } split /\n/, $screen;
    cmp_ok($longest, '<=', 20, 'no line is wider than the window');
};

subtest 'contradictions are asked about' => sub {
    my ($screen) = talk([ 'day 4. the grain is dry. the grain is soaking wet.', 'wet', 'leave', 'leave' ]);
    like($screen, qr/You said .* and .*Which is right/s, 'which of the two');
};

subtest 'what only a safety rule rests on is asked about' => sub {
    my $tells = 'purple thing is from my light strip, jar is white and even, day 9, 60 percent, growing every day';
    my ($screen) = talk([ $tells, 'white only', 'leave' ]);
    like($screen =~ s/\s+/ /gr, qr/It turns on 'purple', which was taken for colours: pink, red, peach or violet\. To be sure: Which colours/, 'with the words it was read from');
    like($screen, qr/^Keep: /m, 'what the answer leaves out is taken back');
    ($screen) = talk([ $tells, 'purple and white', 'leave' ]);
    like($screen, qr/^Isolate: /m, 'what it says again stands');
    ($screen) = talk([ $tells, 'no idea', 'leave' ]);
    like($screen, qr/^Isolate: /m, 'and not knowing takes nothing back');
};

subtest 'put right, not understood, and goodbye' => sub {
    my ($screen) = talk([ 'king oyster, all white', '4 days', '12 days actually', 'leave' ]);
    like($screen, qr/Understood: age: 8 to 14 days \('12 days/, 'the age is put right');
    ($screen) = talk([ 'king oyster, half white', 'idk whats that', 'leave' ]);
    unlike($screen, qr/not known|unknown 'idk/i, 'who asks what is meant does not say "unknown"');
    my $status;
    ($screen, $status) = talk([ 'king oyster, half white', 'ok bye' ]);
    is($status, 0, 'a goodbye ends it');
    unlike($screen, qr/one kind/, 'and is no answer');
};

subtest 'an ASCII locale' => sub {
    my ($screen) = talk([ 'white, day 3, 24C', 'leave' ], { env => { LC_ALL => 'C' } });
    unlike($screen, qr/[^\x00-\x7f]/, 'gets ASCII');
};

subtest 'an answer that is about something else' => sub {
    for my $case (['60F', qr/temperature: 15 to 18/], ['2 weeks old', qr/age: 8 to 14 days/]) {
        my ($status, $out) = run({ in => "white with a green tint, oyster\n$case->[0]\n" });
        like($out, $case->[1], "$case->[0] says what it is of, whatever was asked");
        unlike($out, qr/not understood/, 'and is understood');
    }
};

done_testing;
