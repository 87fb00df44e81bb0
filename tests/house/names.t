#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# What is known about findings and causes stands in rules/, and nowhere in the C code.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use House qw(files content line_of);
use Test::More;

my @ids = map { m{([^/]+)\.yaml$} } files(qr/\.yaml$/, 'rules/findings', 'rules/causes');
cmp_ok(scalar @ids, '>', 20, 'the rule base names findings and causes');

# The file is named after what it defines, so the names of the files are the ids.
for my $file (files(qr/\.yaml$/, 'rules/findings', 'rules/causes')) {
    my ($name) = $file =~ m{([^/]+)\.yaml$};
    like(content($file), qr/^(?:finding|cause):\s*\n(?:\s*#.*\n)*\s+id:\s*\Q$name\E\s*$/m,
        "$file defines $name");
}

# Every place where a pattern stands in a text, as FILE:LINE: WORD.
sub places {
    my ($file, $text, $pattern) = @_;
    my @places;
    push @places, "$file:" . line_of($text, $-[0]) . ": '$1'" while $text =~ /($pattern)/g;
    return @places;
}

# Short ids are also plain English ("aged"), so they are only looked for as whole words; the same
# spelling with spaces or hyphens would be knowledge in the code just as well.
my $known = join '|', map { my $spelt = quotemeta; $spelt =~ s/_/[_ -]/g; $spelt } @ids;
my @files = files(qr/\.(?:[ch]|txt)$/, 'engine');
for my $file (@files) {
    my $text   = content($file);
    my @places = (
        places($file, $text, qr/\b(?:$known)\b/i),
        places($file, $text, qr/mould|sterilis|too_wet/),
    );
    is(join("\n", @places), '', "$file knows no finding and no cause");
}

is(scalar(places('x', "/* a\n * $ids[0] */", qr/\b(?:$known)\b/i)), 1, 'a name in a comment is found');

done_testing;
