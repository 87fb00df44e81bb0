#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# Each threat in DEVELOPERS.md is one line: what threatens, what holds against it, and a test that is there.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use House qw(top content);
use Test::More;

# "a/b.c, c.c": a name without a folder lies where the one before it lies.
sub tests_named {
    my ($cell) = @_;
    my ($folder, @named) = ('');
    for my $name ($cell =~ /`([^`]+)`/g) {
        ($folder) = $name =~ m{^(.*/)} if $name =~ m{/};
        push @named, $name =~ m{/} ? $name : "$folder$name";
    }
    return @named;
}

# What is wrong with the lines of a table.
sub objections {
    my @lines = @_;
    my @wrong;
    for my $line (@lines) {
        my @cells = map { s/^\s+|\s+$//gr } split /\|/, $line =~ s/^\||\|$//gr;
        my @named = @cells == 3 ? tests_named($cells[2]) : ();
        push @wrong, "not three cells: $line" if @cells != 3 || grep { !length } @cells;
        push @wrong, "no test: $line" if @cells == 3 && !@named;
        push @wrong, map {"$_ is not there"} grep { !-e top() . "/$_" } @named;
    }
    return @wrong;
}

my ($section) = content('DEVELOPERS.md') =~ /^## Threats\n(.*?)(?=^## |\z)/ms;
ok(defined $section, 'there is a model of threats') or BAIL_OUT('none');
my @lines = grep {/^\|/} split /\n/, $section;
is(shift @lines, '| threat | defence | test |', 'of three columns');
shift @lines;
cmp_ok(scalar @lines, '>', 10, 'with threats in it');
is(join("\n", objections(@lines)), '', 'each has a defence and a test that is there');

# Defences that are named as code are there, too.
my $engine = join '', map { content($_) } House::files(qr/\.[ch]$/, 'engine');
for my $line (@lines) {
    my $defence = (split /\|/, $line)[2];
    for my $word (grep {/^\w+_\w+$/} $defence =~ /`([^`]+)`/g) {
        like($engine, qr/\b\Q$word\E\(/, "$word is there");
    }
}

is(scalar(objections('| a | b | `tests/none.t` |')), 1, 'a test that is missing is found');
is(scalar(objections('| a | b | |')), 2, 'and a threat without one');
is(scalar(objections('| a | b | `tests/house/code.t`, `tree.t` |')), 0, 'a name alone lies beside the one before it');
done_testing;
