#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# What view_json and its like are given is what their letters say (view/tree.h): the compiler cannot know. Each call is
# counted; then a copy of the file is compiled in which every value stands where its type is asked for.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use House qw(top files content code line_of);
use File::Temp qw(tempdir);
use Test::More;

my %types = (
    n => 'double, float',
    z => 'unsigned long',
    l => 'long long',
    i => 'int, unsigned',
    b => '_Bool, int, unsigned char',
    r => 'struct range *, const struct range *',
    o => 'json_t *',
    map { $_ => 'char *, const char *' } qw(s t w),
);
my $checks = join '', map {
    my $letter = $_;
    "#define AS_$letter(x) _Generic((x), " . join(', ', map {"$_: (x)"} split /, /, $types{$letter}) . ")\n";
} sort keys %types;

my ($file, $calls, @wrong) = ('', 0);

# What stands between the brackets that begin the text: its arguments, at the commas that stand in no bracket or string.
sub arguments {
    my ($text) = @_;
    my ($depth, @parts) = (1, '');
    pos($text) = 1;
    while ($text =~ /\G("(?:\\.|[^"\\])*"|'(?:\\.|[^'\\])*'|.)/gs) {
        my $piece = $1;
        $depth++ if $piece =~ /^[(\[{]$/;
        $depth-- if $piece =~ /^[)\]}]$/;
        return (pos $text, @parts) if $depth == 0;
        if   ($depth == 1 && $piece eq ',') { push @parts, '' }
        else                                { $parts[-1] .= $piece }
    }
    die "$file: a bracket is not closed\n";
}

sub checked {
    my ($text, $line) = @_;
    my $out = '';
    while ($text =~ /\G(.*?)\b(view_json(?:_add|_rows?)?)(?=\()/gsc) {
        $out .= "$1$2";
        my ($length, @parts) = arguments(substr($text, pos $text));
        my $here = $line + (substr($text, 0, pos $text) =~ tr/\n//);
        pos($text) += $length;
        my @first = splice(@parts, 0, $2 eq 'view_json' ? 0 : $2 eq 'view_json_rows' ? 2 : 1);
        my $keys  = shift @parts;
        if ($keys =~ /^\s*const char/) { $out .= '(' . join(',', @first, $keys, @parts) . ')'; next }
        $calls++;
        my $words = join '', $keys =~ /"([^"]*)"/g;
        my @pairs = split / /, $words;
        my %seen;
        push @wrong, "$file:$here: no keys" unless $keys =~ /^\s*(?:"[^"]*"\s*)+$/;
        push @wrong, map  {"$file:$here: '$_'"} grep { !/^\w+:[nzlibrostw]$/ || $seen{$_}++ } @pairs;
        push @wrong, sprintf('%s:%d: %d keys, %d values', $file, $here, scalar @pairs, scalar @parts)
            if @pairs != @parts;
        $_ = checked($_, $here) for @first, @parts;
        $parts[$_] = "AS_" . substr($pairs[$_] // 'x:o', -1) . "($parts[$_])" for 0 .. $#parts;
        $out .= '(' . join(',', @first, $keys, @parts) . ')';
    }
    return $out . substr($text, pos($text) // 0);
}

my $compiler = $ENV{CC} || 'cc';
my $scratch  = tempdir(CLEANUP => 1);
my @flags    = ('-std=c11', '-D_POSIX_C_SOURCE=200809L', '-D_DEFAULT_SOURCE', '-DJARSIDE_DATADIR="/"', '-I', top() . '/engine');
for (files(qr/\.c$/, 'engine')) {
    $file = $_;
    my $text = code(content($file));
    next unless $text =~ /\bview_json(?:_add|_rows?)?\(/;
    my $copy = checked($text, 1);
    open(my $to, '>', "$scratch/copy.c") or die $!;
    print {$to} $checks, qq{#line 1 "$file"\n}, $copy;
    close $to;
    my $said = qx($compiler -w -fsyntax-only @{[map {quotemeta} @flags]} $scratch/copy.c 2>&1);
    push @wrong, grep {/error:|in expansion of/} split /\n/, $said;
}
cmp_ok($calls, '>', 100, 'calls are found');
is(join("\n", @wrong), '', 'keys, letters and values agree');
done_testing;
