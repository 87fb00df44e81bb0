#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# What `make install` installs works from there, and `make uninstall` leaves nothing behind.
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
my $stage = tempdir(CLEANUP => 1);
my @make = ('make', '--no-print-directory', '-s', '-C', $root, 'MODE=' . ($mode // 'release'), "DESTDIR=$stage",
    'PREFIX=/opt/here', '-o', ".build/" . ($mode // 'release') . '/jarside');

is(system(@make, 'install'), 0, 'make install');
ok(-x "$stage/opt/here/bin/jarside", 'the program is there');
ok(-f "$stage/opt/here/share/jarside/rules/scale.yaml", 'so are the rules');
ok(-s "$stage/opt/here/share/jarside/SAFETY.md", 'and beside them the page on safety that screens refer to');

# Away from the source tree the rules are found through XDG_DATA_DIRS.
{
    local $ENV{XDG_DATA_DIRS} = "$stage/opt/here/share";
    local $ENV{HOME} = $stage;
    delete local $ENV{JARSIDE_RULES};
    my $out = `cd / && '$stage/opt/here/bin/jarside' judge 'green powder by the port' 2>&1`;
    is($? >> 8, 0, 'the installed program judges');
    like($out, qr/Discard/, 'and finds its rules');
    my $checked = `cd / && '$stage/opt/here/bin/jarside' rules check 2>&1`;
    is($? >> 8, 0, 'and they pass the check');
}

is(system(@make, 'uninstall'), 0, 'make uninstall');
my @left;
find(sub { push @left, $File::Find::name if -f }, $stage);
is_deeply(\@left, [], 'nothing is left behind');

done_testing;
