# SPDX-License-Identifier: GPL-3.0-or-later
# What the house tests share: walking the tree and looking at C without its comments and strings.
package House;
use strict;
use warnings;
use Cwd qw(realpath);
use Exporter qw(import);
use File::Find ();
use File::Spec;
our @EXPORT_OK = qw(top files content code without_strings line_of);

my $top = realpath(File::Spec->catdir((File::Spec->splitpath(__FILE__))[1], '..', '..'));

sub top { return $top }

# Every file below the folders whose name matches, relative to the top, in order.
sub files {
    my ($matching, @folders) = @_;
    my @found;
    File::Find::find({
            no_chdir => 1,
            wanted   => sub { push @found, File::Spec->abs2rel($_, $top) if -f && /$matching/ },
        },
        grep { -d } map {"$top/$_"} @folders);
    return sort @found;
}

sub content {
    my ($file) = @_;
    open my $handle, '<:raw', "$top/$file" or die "$file: $!";
    local $/;
    return scalar <$handle>;
}

# Comments or strings made blank, newlines kept, so that offsets and lines stay what they are.
sub blank {
    my ($text) = @_;
    $text =~ s/[^\n]/ /g;
    return $text;
}

# C without its comments.
sub code {
    my ($text) = @_;
    $text =~ s{("(?:\\.|[^"\\\n])*"|'(?:\\.|[^'\\\n])*')|(/\*.*?\*/|//[^\n]*)}
              {defined $1 ? $1 : blank($2)}gse;
    return $text;
}

# C without its comments and without what stands in strings and character constants.
sub without_strings {
    my $text = code(@_);
    $text =~ s{("(?:\\.|[^"\\\n])*"|'(?:\\.|[^'\\\n])*')}{blank($1)}gse;
    return $text;
}

# The line an offset lies on.
sub line_of {
    my ($text, $offset) = @_;
    return 1 + (substr($text, 0, $offset) =~ tr/\n//);
}

1;
