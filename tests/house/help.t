#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# help.txt says something of every command, option and setting, and of nothing that is not there.
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
my %shared = $code =~ /#define (\w+_ROW)\b(?:\(\w+\))?\s+"([a-z-]+)"/g;
my @wrong;
for my $file (files(qr/\.c$/, 'engine/cli')) {
    my $text = content($file);
    my %tables;
    while ($text =~ /const struct option (\w+)\[.*?\] = \{(.*?)\};/gs) {
        my ($table, $rows) = ($1, $2);
        $tables{$table} = [$rows =~ /\{\s*"([a-z-]+)",\s*OPTION_/g, map { $shared{$_} // () } $rows =~ /\b(\w+_ROW)\b/g];
    }
    for my $common (qw(common_options json_options)) {
        push @wrong, "$file: no words on --$_" for grep { !$said{'--'}{$_} } @{ $tables{$common} // [] };
    }
    push @wrong, "$file: no words on $_" for $file =~ /options/ ? grep { !$said{settings}{$_} } @{ $tables{settings} // [] } : ();
    while ($text =~ /const struct command \w+\[\] = \{(.*?)\n\};/gs) {
        my $commands = $1;
        while ($commands =~ /\{"([a-z ]+)",\s*(\w+)?/g) {
            my ($command, $table) = ($1, $2 // '');
            push(@wrong, "$file: no words on $command"), next unless $said{$command};
            my %rows = map { $_ => 1 } @{ $tables{$table} // [] };
            push @wrong, "$file: no words on $command --$_" for grep { !$said{$command}{$_} } sort keys %rows;
            push @wrong, "help.txt: $command has no --$_" for grep { !$rows{$_} } sort keys %{ $said{$command} };
        }
    }
}
cmp_ok(scalar keys %said, '>', 35, 'there are commands');
is(join("\n", @wrong), '', 'each has its words, and only what is there');
done_testing;
