#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# help.txt says something of every command, option and setting; every option there has a row that reads it, and every row a command.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use House qw(files content);
use Test::More;

my (%said, $section);
$section = "";
for my $line (split /\n/, content('engine/cli/help.txt')) {
    next if $line =~ /^#/;
    if    ($line =~ /^== ([a-z -]+?)(?: [A-Z\[].*)?$/) { $section = $1; $said{$section} = {} }
    elsif ($line =~ ($section eq 'settings' ? qr/^([a-z]+)(?: \S+)?: \S/ : qr/^--([a-z-]+)(?: \S+)?: \S/)) { $said{$section}{$1} = 1 }
}
my $code = join '', map { content($_) } files(qr/\.[ch]$/, 'engine/cli');
my ($rows) = $code =~ /static const struct option options\[\] = \{(.*?)\n\};/s;
my ($settings) = $code =~ /static const struct option settings\[.*?\] = \{(.*?)\n\};/s;
my (@wrong, %rows);
$rows{$1}{ $2 // '' } = 1 while $rows =~ /\{"([a-z-]+)",\s*OPTION_\w+,\s*GIVEN\([\w.]+\)(?:,\s*"([a-z ]+)")?/g;
while ($code =~ /#define (?:TEXT|FLAG)_OPTIONS\(X\)(.*?[^\\])\n/gs) { my $list = $1; $rows{$1}{''} = 1 while $list =~ /X\(\w+, "([a-z-]+)"\)/g }
my %commands = map { $_ => 1 } $code =~ /\n    \{"([a-z ]+)",\s*(?:\.run = )?run_/g;
push @wrong, "no words on $_" for grep { !$said{$_} } sort keys %commands;
for my $section (sort keys %said) {
    next if $section eq 'settings' || (!$commands{$section} && $section ne '--');
    push @wrong, "help.txt: $section --$_ has no row" for grep { !$rows{$_}{''} && !$rows{$_}{$section} } sort keys %{ $said{$section} };
}
for my $name (sort keys %rows) {
    push @wrong, "$_ --$name: no words" for grep { $_ ne '' && !$said{$_}{$name} } sort keys %{ $rows{$name} };
    push @wrong, "--$name: no command takes it" if $rows{$name}{''} && !grep { $said{$_}{$name} } keys %said;
}
my @named = $settings =~ /\n    \{"([a-z]+)",/g;
push @wrong, "no words on the setting $_" for grep { !$said{settings}{$_} } @named;
cmp_ok(scalar keys %commands, '>', 30, 'commands');
cmp_ok(scalar keys %rows, '>', 90, 'options');
cmp_ok(scalar keys %said, '>', 35, 'there are commands');
is(join("\n", @wrong), '', 'each has its words, and only what is there');
done_testing;
