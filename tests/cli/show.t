#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# `show` and `help`.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use Jarside;
use Test::More;

my ($status, $out, $err) = run(qw(show green_mould));
is($status, 0, 'a finding');
like($out, qr/How it looks.*How to tell it apart.*Sources/s, 'with looks, look-alikes and sources');
($status, $out) = run(qw(show under_sterilised));
like($out, qr/What to change next time.*Sources/s, 'a cause');
($status, $out) = run(qw(show colour));
like($out, qr/Which colours.*green/s, 'a sign');
($status, $out) = run(qw(show pink_oyster));
like($out, qr/djamor/, 'a species');
($status, $out) = run('show');
like($out, qr/^\s+green_mould\s/m, 'all ids');
for (['green mould'], ['green'], ['green', 'mold'], ['wet', 'spot'], ['not cooked']) {
    ($status, $out) = run('show', @$_);
    is($status, 0, "a name, or part of one: @$_");
}
($status, $out, $err) = run(qw(show sour));
like($err, qr/could be wet_rot, .*; say which/, 'part of several');
($status, $out, $err) = run(qw(show green_mluld));
is($status, 2, 'an unknown id');
like($err, qr/'green_mould'/, 'with the nearest');

($status, $out) = run('--help');
is($status, 0, 'help');
for my $command (qw(ask judge show help version), 'rules check', 'rules test') {
    like($out, qr/^\s+\Q$command\E\s/m, "lists $command");
    my ($own, $text) = run('help', split / /, $command);
    is($own, 0, "help $command");
    like($text, qr/--help/, 'with its options');
    my ($flag, $same) = run(split(/ /, $command), '--help');
    is($same, $text, "$command --help says the same");
}
($status, $out) = run('--version');
like($out, qr/^jarside \d+\.\d+\.\d+$/, 'version');
($status, $out, $err) = run('shwo');
like($err, qr/'show'/, 'a slip in a command is caught');

done_testing;
