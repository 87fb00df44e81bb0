#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# What `make install` installs works from there and reads its own rules, what is changed after a build takes
# effect, and `make uninstall` leaves nothing of ours behind and takes nothing of others.
use strict;
use warnings;
use Cwd qw(abs_path);
use File::Basename qw(dirname);
use File::Find;
use File::Temp qw(tempdir);
use Test::More;

my $root = abs_path(dirname(__FILE__) . '/../..');
my $program = $ENV{JARSIDE} // "$root/.build/release/jarside";
my ($mode) = $program =~ m{/\.build/([^/]+)/};
$mode //= 'release';
my $scratch = tempdir(CLEANUP => 1);

# What is built is built on in a copy, for other tests run the program meanwhile.
my $built = "$scratch/built";
is(system('cp', '-a', dirname($program), $built), 0, 'a copy of what is built');

sub make {
    my @given = @_;
    open(my $out, '-|', 'make', '--no-print-directory', '-C', $root, "MODE=$mode", "B=$built", @given) or die "make: $!";
    my $said = do { local $/; <$out> };
    close $out;
    return ($? >> 8, $said);
}

sub files_below {
    my ($folder) = @_;
    my @files;
    find(sub { push @files, $File::Find::name =~ s/^\Q$folder\E//r if -f }, $folder) if -d $folder;
    return [sort @files];
}

sub write_file {
    my ($path, $text) = @_;
    open my $file, '>', $path or die "$path: $!";
    print $file $text;
    close $file or die "$path: $!";
    return;
}

# The name of the rules that a program reads, away from the source tree.
sub rules_of {
    my ($run, %env) = @_;
    local $ENV{HOME} = $scratch;
    delete local $ENV{JARSIDE_RULES};
    local @ENV{keys %env} = values %env;
    my $out = `cd / && '$run' judge --json 'green powder by the port' 2>&1`;
    return $out =~ /"rules": \{[^}]*"name": "([^"]+)"/ ? $1 : $out;
}

sub rename_rules {
    my ($folder, $name) = @_;
    my ($file) = map { chomp; $_ } `grep -l '^rules:' '$folder'/*.yaml`;
    is(system('sed', '-i', "/^rules:/,/^[^ ]/s/name:.*/name: $name/", $file), 0, "the rules of $name bear its name");
    return;
}

# Two prefixes, one with a space in its name.
my ($one, $two) = ("$scratch/first place", "$scratch/second");
for my $prefix ($one, $two) {
    my ($status, $said) = make("PREFIX=$prefix", 'install');
    is($status, 0, "make install below $prefix") or diag $said;
    like($said, qr{rules/rules\.c}, 'the folder that is compiled in is made anew');
    ok(-x "$prefix/bin/jarside", 'the program is there');
    ok(-f "$prefix/share/jarside/rules/scale.yaml", 'so are the rules');
    ok(-s "$prefix/share/jarside/SAFETY.md", 'and beside them the page on safety that screens refer to');
}
rename_rules("$one/share/jarside/rules", 'first');
rename_rules("$two/share/jarside/rules", 'second');
is(rules_of("$one/bin/jarside"), 'first', 'each program reads its own rules');
is(rules_of("$two/bin/jarside"), 'second', 'one beside the other');
is(rules_of("$two/bin/jarside", XDG_DATA_DIRS => "$one/share"), 'second', 'whatever data folders there are');
is(rules_of("$two/bin/jarside", JARSIDE_RULES => ''), 'second', 'an empty JARSIDE_RULES names nothing');
is(rules_of("$two/bin/jarside", JARSIDE_RULES => "$one/share/jarside/rules"), 'first', 'one that is set does');

# Moved and copied folders take their rules with them; a program alone reads those it was built for, or none.
is(system('cp', '-a', $two, "$scratch/copy"), 0, 'a copy of an installed folder');
rename_rules("$scratch/copy/share/jarside/rules", 'copied');
is(rules_of("$scratch/copy/bin/jarside"), 'copied', 'reads its own rules');
is(system('cp', "$two/bin/jarside", "$scratch/alone"), 0, 'a program alone');
is(rules_of("$scratch/alone"), 'second', 'reads those of the prefix it was built for');
rename "$two/share/jarside/rules", "$two/share/jarside/away";
like(rules_of("$scratch/alone", XDG_DATA_DIRS => "$one/share"), qr/no rules found/, 'and none of another prefix');
rename "$two/share/jarside/away", "$two/share/jarside/rules";

# Installed again: what is gone from the rules is gone; what stands beside them is left.
write_file("$two/share/jarside/rules/gone.yaml", "rules: {name: again, version: 1}\n");
write_file("$two/share/jarside/mine.txt", "mine\n");
is((make("PREFIX=$two", 'install'))[0], 0, 'make install once more');
ok(!-e "$two/share/jarside/rules/gone.yaml", 'a rule file that is no more goes');
is(rules_of("$two/bin/jarside"), 'Jarside shipped rules', 'and the rules can be read');
is((make("PREFIX=$two", 'uninstall'))[0], 0, 'make uninstall');
is_deeply(files_below($two), ['/share/jarside/mine.txt'], 'takes what is ours and nothing else');
is((make("PREFIX=$one", 'uninstall'))[0], 0, 'also below a name with a space');
is_deeply(files_below($one), [], 'where nothing is left');

# DESTDIR stands before the prefix and is not compiled in.
is((make('PREFIX=/opt/here', "DESTDIR=$scratch/stage area", 'install'))[0], 0, 'make install with DESTDIR');
is(rules_of("$scratch/stage area/opt/here/bin/jarside"), 'Jarside shipped rules', 'works where it is staged');
is((make('PREFIX=/opt/here', "DESTDIR=$scratch/stage area", 'uninstall'))[0], 0, 'and make uninstall with it');
is_deeply(files_below("$scratch/stage area"), [], 'leaves nothing');

# Flags changed after a build: everything would be compiled again; nothing when they are as they were.
my (undef, $same) = make('PREFIX=/opt/here', 'all');
unlike($same, qr/\b(?:cc|link) /, 'what is given as before builds nothing');
my (undef, $changed) = make('PREFIX=/opt/here', 'CFLAGS=-O1', "$built/base/text.o");
like($changed, qr{base/text\.c}, 'other CFLAGS compile again');
my (undef, $other) = make('PREFIX=/opt/here', 'CC=cc', "$built/base/text.o");
like($other, qr{base/text\.c}, 'so does another CC');

done_testing;
