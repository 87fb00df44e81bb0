# SPDX-License-Identifier: GPL-3.0-or-later
# Conversations played: a grower of corpus/conversations says the first words, answers what they know and says of the rest in one of
# many ways that they do not know. What comes of it is counted.
package Converse;

use strict;
use warnings;
use Exporter 'import';
use File::Find ();
use Jarside;

our @EXPORT = qw(growers play tally @unknown);

our @unknown = ('dont know', "I don't know", 'idk', 'no idea sorry', "can't tell", 'no clue', 'pass', 'cant remember', 'havent looked', 'not sure',
    "couldn't say", "don't know, my brother did that", 'unknown', 'dunno', 'hard to say', 'i dont know really', 'not looked', 'no clue how many', 'skip', 'who knows');

# The sign each question is about, by its words as the rules have them.
my %sign_of;
File::Find::find({ no_chdir => 1, wanted => sub {
    return unless /\.yaml\z/;
    open(my $from, '<:encoding(UTF-8)', $_) or die "$_: $!";
    my $sign;
    while (my $line = <$from>) {
        $sign = $1 if $line =~ /^  ([a-z_]+):\s*$/;
        $sign_of{ $1 =~ s/''/'/gr } = $sign if $line =~ /^    ask: ['"]?(.*\?)['"]?\s*$/;
    }
} }, map { project_root() . "/rules/$_" } qw(signs circumstances tests.yaml));

# The growers of a file: blocks of 'key: value' lines, an empty line between two.
sub growers {
    my ($file) = @_;
    open(my $from, '<:encoding(UTF-8)', $file) or die "$file: $!";
    local $/ = '';
    my @growers;
    while (my $block = <$from>) {
        my %grower = map { /^([a-z_]+): '?(.*?)'?$/ ? ($1, $2) : () } grep { !/^#/ } split /\n/, $block;
        push @growers, \%grower if defined $grower{says};
    }
    return @growers;
}

# Plays one of them from an empty prompt; `shift` chooses which ways of not knowing come first. What happened, counted.
sub play {
    my ($grower, $shift) = @_;
    my %got = (id => $grower->{id}, accept => $grower->{accept}, asked => [], repeated => 0, deaf => 0, misread => 0, quiet => []);
    my ($last, $last_line, $unsure, %put) = ('', '', $shift // 0);
    my ($screen, $status) = talk_by(sub {
        my ($page) = @_;
        return '' if $page =~ /\(Enter for more\) \z/;
        utf8::decode($page);
        # What the last answer was taken for.
        my ($said) = $page =~ /Understood:((?: .*)?\n(?:  .*\n)*)/;
        if ($last ne '') {
            if ($page =~ /was not understood|says nothing new/) { $got{deaf}++; push @{ $got{quiet} }, "$last: '$last_line' not understood" }
            elsif (!defined $grower->{$last} && defined $said) { $got{misread}++; push @{ $got{quiet} }, "$last: '$last_line' taken for $said" }
        }
        if ($page =~ /was not understood\. You can say/) {    # and so they do, if they know a word of the list
            $last_line = $unknown[$unsure++ % @unknown];
            return $last_line;
        }
        ($last, $last_line) = ('', '');
        utf8::encode(my $says = $grower->{says});
        return $says if $page =~ /What do you see\?/;
        return 'leave' if $page =~ /about the cause|no more questions/ || @{ $got{asked} } > 25;
        my $flat = $page =~ s/\s+/ /gr;
        my ($sign, $at) = ('', -1);
        for my $ask (keys %sign_of) {
            my $found = rindex $flat, $ask;
            ($sign, $at) = ($sign_of{$ask}, $found) if $found > $at;
        }
        ($sign) = ('clash') if $flat =~ /Which is right\?/;
        return 'verdict' if $sign eq '' && $put{''}++ < 1;
        return 'leave' if $sign eq '';
        $got{repeated}++ if $sign ne 'clash' && $put{$sign}++;
        push @{ $got{asked} }, $sign;
        $last = $sign;
        $last_line = $grower->{$sign} // $unknown[$unsure++ % @unknown];
        utf8::encode(my $bytes = $last_line);
        return $bytes;
    });
    utf8::decode($screen);
    $got{screen} = $screen;
    $got{status} = $status;
    my @actions = $screen =~ /^(Keep|Isolate|Discard)\b/mg;
    $got{action} = lc($actions[-1] // 'none');
    $got{right}  = $grower->{accept} =~ /\b$got{action}\b/ ? 1 : 0;
    $got{unsafe} = $got{action} eq 'keep' && !$got{right} ? 1 : 0;
    $got{needless} = $got{action} eq 'discard' && !$got{right} ? 1 : 0;
    return \%got;
}

# The sums over many.
sub tally {
    my (@got) = @_;
    my %sum = (played => scalar @got);
    for my $key (qw(right unsafe needless repeated deaf misread)) { $sum{$key} += $_->{$key} for @got }
    my @counts = sort { $a <=> $b } map { scalar @{ $_->{asked} } } @got;
    $sum{median} = $counts[ $#counts / 2 ];
    $sum{most}   = $counts[-1];
    return \%sum;
}

1;
