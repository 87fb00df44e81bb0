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
    local $ENV{MAKEFLAGS} = ($ENV{MAKEFLAGS} // '') =~ s/ ?(?:-j\d*|--jobserver-\S+)//gr; # its processes are not ours
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
write_file("$two/share/man/man1/jarside-gone.1", "gone\n");
write_file("$two/share/man/man1/mine.1", "mine\n");
is((make("PREFIX=$two", 'install'))[0], 0, 'make install once more');
ok(!-e "$two/share/jarside/rules/gone.yaml", 'a rule file that is no more goes');
ok(!-e "$two/share/man/man1/jarside-gone.1", 'so does the page of a command that is no more');
is(sprintf('%03o', (stat "$two/share/jarside/rules/scale.yaml")[2] & 0777), '644', 'everybody may read the rules');
is(rules_of("$two/bin/jarside"), 'Jarside shipped rules', 'and the rules can be read');
is((make("PREFIX=$two", 'uninstall'))[0], 0, 'make uninstall');
is_deeply(files_below($two), ['/share/jarside/mine.txt', '/share/man/man1/mine.1'], 'takes what is ours and nothing else');
is((make("PREFIX=$one", 'uninstall'))[0], 0, 'also below a name with a space');
is_deeply(files_below($one), [], 'where nothing is left');

# DESTDIR stands before the prefix and is not compiled in.
is((make('PREFIX=/opt/here', "DESTDIR=$scratch/stage area", 'install'))[0], 0, 'make install with DESTDIR');
is(rules_of("$scratch/stage area/opt/here/bin/jarside"), 'Jarside shipped rules', 'works where it is staged');
is((make('PREFIX=/opt/here', "DESTDIR=$scratch/stage area", 'uninstall'))[0], 0, 'and make uninstall with it');
is_deeply(files_below("$scratch/stage area"), [], 'leaves nothing');

# A package: built without a network, and nothing is left when it has been removed.
{
    my ($status, $said) = make('deb', 'DEBFLAGS=-z1'); # a small package takes ten seconds
    is($status, 0, 'make deb') or diag $said;
    my ($package) = $said =~ m{^(\S+\.deb)$}m;
    ok(-s $package, 'makes a package') or BAIL_OUT($said);
    is(`dpkg-deb -f '$package' Package` , "jarside\n", 'of our name');
    my ($version) = `'$program' --version` =~ /(\d\S*)/;
    is(`dpkg-deb -f '$package' Version`, "$version\n", 'and the version of the program');
    my $needs = `dpkg-deb -f '$package' Depends`;
    like($needs, qr/\b$_\S* \(>= \d/, "that needs $_") for qw(libc6 libyaml-0 libpcre2-8 libreadline libsqlite3 libcsv);
    my $system = "$scratch/system";
    is(system("mkdir -p '$system/var/lib/dpkg/info' '$system/var/lib/dpkg/updates' && touch '$system/var/lib/dpkg/status'"), 0, 'an empty system');
    my @dpkg = ('dpkg', "--root=$system", '--force-all', "--log=$scratch/dpkg.log");
    my $before = files_below("$system/usr");
    is(system("$dpkg[0] '$dpkg[1]' $dpkg[2] '$dpkg[3]' --install '$package' >'$scratch/said' 2>&1"), 0, 'it is installed') or diag `cat '$scratch/said'`;
    my %there = map { $_ => 1 } @{ files_below("$system/usr") };
    ok($there{$_}, "$_ is there")
        for '/bin/jarside', '/share/jarside/SAFETY.md', '/share/jarside/rules/scale.yaml', '/share/man/man1/jarside.1.gz',
        '/share/man/man1/jarside-rules-check.1.gz', '/share/man/man5/jarside-rules.5.gz', '/share/man/man5/jarside-journal.5.gz',
        '/share/bash-completion/completions/jarside', '/share/zsh/vendor-completions/_jarside',
        '/share/fish/vendor_completions.d/jarside.fish', '/share/doc/jarside/copyright';
    like(`zcat '$system/usr/share/doc/jarside/changelog.gz'`, qr/^jarside \(\Q$version\E\)/, 'with what has changed, up to this version');
    is(rules_of("$system/usr/bin/jarside"), 'Jarside shipped rules', 'it judges with its rules');
    my @commands = grep { defined } map { /^  (\S+(?: \S+)?)  / ? $1 : undef } split /\n/, `'$program' help`;
    is_deeply([grep { !$there{ '/share/man/man1/jarside-' . tr/ /-/r . '.1.gz' } } grep { $_ ne 'jarside' } @commands], [], 'each command has a page');
    is(system("$dpkg[0] '$dpkg[1]' $dpkg[2] '$dpkg[3]' --purge jarside >'$scratch/said' 2>&1"), 0, 'and removed');
    is_deeply(files_below("$system/usr"), [], 'without a trace');
}

# Pages that roff has nothing to say against, and that say what the help says.
for my $page (glob "$built/manual/man/man*/*") {
    my $said = `groff -man -ww -Kutf8 -Tutf8 '$page' 2>&1 >/dev/null`;
    is($said, '', $page =~ s{.*/}{}r . ' is sound');
}
my $shown = `groff -man -Kutf8 -Tascii -P-cbou '$built/manual/man/man1/jarside-labels.1'`;
like($shown, qr/\Q$_\E/, "the page of labels says $_") for 'jarside labels [OPTIONS] [BATCH', '--paper PAPER', '-q, --quiet';
$shown = `groff -man -Kutf8 -Tascii -P-cbou '$built/manual/man/man5/jarside-rules.5'`;
like($shown, qr/far_more: 8, more: 3/, 'the page on rules is that of the rules');
unlike($shown, qr/\*\*|^\||```/m, 'with no marks of another language left');
$shown = `groff -man -Kutf8 -Tascii -P-cbou '$built/manual/man/man5/jarside-journal.5'`;
like($shown, qr/^cook\.csv\n.*^ +gauge +in kPa/ms, 'the page on the journal has its columns and units');

# Flags changed after a build: everything would be compiled again; nothing when they are as they were.
is((make('PREFIX=/opt/here', 'all'))[0], 0, 'built for a prefix');
my (undef, $same) = make('PREFIX=/opt/here', 'all');
unlike($same, qr/\b(?:cc|link) /, 'what is given as before builds nothing');
my (undef, $changed) = make('PREFIX=/opt/here', 'CFLAGS=-O1', "$built/base/text.o");
like($changed, qr{base/text\.c}, 'other CFLAGS compile again');
my (undef, $other) = make('PREFIX=/opt/here', 'CC=cc', "$built/base/text.o");
like($other, qr{base/text\.c}, 'so does another CC');

done_testing;
