#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# Every input that fuzzing kept, and every one that once broke something, under ASan and UBSan.
use strict;
use warnings;
use Cwd qw(abs_path);
use File::Basename qw(basename dirname);
use Test::More;

my $top = abs_path(dirname(__FILE__) . '/../..');
chdir $top or BAIL_OUT("$top: $!");

my @targets = map { basename($_) =~ s/_fuzz\.c$//r } sort glob 'tests/fuzz/*_fuzz.c';
cmp_ok(scalar @targets, '>', 5, 'there are targets');
my $all = 0;
for my $target (@targets) {
    my $program = ".build/asan/fuzz/$target";
    ok(-x $program, "$target is built") or next;
    my @kept = grep { -f } glob "corpus/fuzz/$target/*";
    cmp_ok(scalar @kept, '>', 0, "$target has inputs");
    my $said = `$program corpus/fuzz/$target 2>&1`;
    my $status = $?;
    my @replayed = $said =~ m{^corpus/fuzz/\Q$target\E/\S+$}mg;
    $all += @replayed;
    is($status, 0, "$target: nothing breaks") or diag 'on ', $replayed[-1] // 'no input', ":\n", $said =~ s{^corpus/fuzz/.*\n}{}mgr;
    is(scalar @replayed, scalar @kept, "$target: all " . @kept . ' inputs were replayed');
}
note "$all inputs replayed";
diag "$all inputs of ", scalar @targets, ' targets replayed' if $ENV{HARNESS_ACTIVE};

# What has no target is not looked at.
my %target = map { $_ => 1 } @targets;
my @strangers = grep { !$target{ basename($_) =~ s/\.dict$//r } } glob 'corpus/fuzz/*';
is("@strangers", '', 'corpus/fuzz holds nothing but what targets take');

done_testing;
