#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# The templates of what is said are whole: nothing is left open, nothing is named that is not there.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use House qw(files content);
use Test::More;

my $code = content('engine/view/tree.c');
my %kinds = map { $_ => 1 } $code =~ /^\s+\{"([a-z-]+)", [A-Z]+, \d+, \d+, ROLE/mg;
cmp_ok(scalar keys %kinds, '>', 10, 'kinds of blocks are known');
my $formats = join '|', $code =~ /\{"([a-z]+)", DIM_/g, $code =~ /IS_FORMAT\("([a-z]+)"\)/g;

my (%templates, %used, $name, $open, $closed_else);
my ($number, @wrong) = (0);
for my $line (split /\n/, content('engine/view/words.txt')) {
    $number++;
    if ($line =~ /^== ([a-z._]+)$/) { push @wrong, "$name is not closed" if $open; ($name, $open) = ($1, 0); $templates{$1}++; next }
    next if $line =~ /^#|^\s*$/;
    my $at = "words.txt:$number";
    my ($kind, $rest) = $line =~ /^ *(\+|[a-z-]+|\{[a-z]+\})(?: |$)?(.*)$/ or push(@wrong, "$at: no line"), next;
    my ($depth, $least) = (0, 0);
    for (split //, $rest) { $depth += /\{/ ? 1 : /\}/ ? -1 : 0; $least = $depth if $depth < $least }
    push @wrong, "$at: braces do not match" if $depth || $least < 0;
    push @wrong, "$at: ends in a blank" if $line =~ / $/;
    push @wrong, "$at: a value in markup" if $kind =~ /^(?:tag|open)$/ && $rest =~ /\{/;
    $used{$1} = $at while $rest =~ /\{use ([a-z._]+)\}/g;
    while ($rest =~ /\{(?!use )[\w.]+ ([^{}]*)\}/g) {
        push @wrong, "$at: no format '$1'" unless $1 =~ /^(?:$formats|day|date|when|words|capital|fit\d+|pad\d*|[%-]?\d*\.\d[fg])$/;
    }
    if    ($kind =~ /^(?:if|for|table)$/) { $open++; push @wrong, "$at: of what?" if $rest eq '' }
    elsif ($kind eq 'end') { $open--; push @wrong, "$at: nothing to end" if $open < 0 }
    elsif ($kind eq 'use') { $used{$rest} = $at unless $rest =~ /\{/ }
    elsif ($kind !~ /^(?:\+|\{.*|else|part|column)$/ && !$kinds{$kind}) { push @wrong, "$at: no kind '$kind'" }
}
push @wrong, "$name is not closed" if $open;
push @wrong, "$used{$_}: no template $_" for grep { !$templates{$_} } sort keys %used;
push @wrong, "$_ stands twice" for grep { $templates{$_} > 1 } sort keys %templates;
for my $file (files(qr/\.c$/, 'engine')) {
    my $text = content($file);
    while ($text =~ /\b(?:view_(?:say(?:_taken)?|said|page|words|judged|heard)|app_tell)\([^;"]*?"([a-z._]+)",/g) {
        $used{$1} = $file;
        push @wrong, "$file: no template $1" unless $templates{$1};
    }
}
is(join("\n", @wrong), '', 'templates are whole, and those that are named are there');
done_testing;
