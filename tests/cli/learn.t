#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# `jarside rules learn`: shown first, tried on the labelled cases, applied, taken back.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use Jarside;
use Test::More;

my $folder = scratch();
my $file   = "$folder/season.db";
my %env    = (env => { XDG_CONFIG_HOME => "$folder/config" });
my $own    = "$folder/config/jarside/rules/learned.yaml";

ok(season($file), 'an invented season') or BAIL_OUT('no season');

my ($status, $out, $err) = run('rules', 'learn', '--journal', $file, {%env});
is($status, 0, 'a preview') or diag $err;
like($out, qr/vessels with a confirmed outcome/,      'says how many vessels it rests on');
like($out, qr/What changes most.*was\s+becomes/s,       'shows which figures move');
like($out, qr/now\s+with it.*log score/s,             'and what that does to the labelled cases');
ok(!-e $own, 'and changes nothing');

my $preview = json('rules', 'learn', '--json', '--journal', $file, {%env});
is($preview->{after}{unsafe_keeps}, 0, 'no contaminated vessel would be kept');
ok(!$preview->{applied}, 'a preview applies nothing');
cmp_ok($preview->{vessels}, '>', 0, 'vessels are counted');

my @apply = ('rules', 'learn', '--apply', '--even-if-worse', '--journal', $file);
($status, $out, $err) = run(@apply, {%env});
is($status, 0, '--apply') or diag $err;
like($out, qr/Written to .*learned\.yaml/s, 'says what it wrote');
ok(-s $own, 'into a file of its own');
is((stat $own)[2] & 07777, 0600, 'which is private');

($status, $out, $err) = run('rules', 'check', {%env});
is("$status$out$err", '0', 'the rules are still without fault');

my $again = json('rules', 'learn', '--json', '--journal', $file, {%env});
is($again->{vessels}, $preview->{vessels}, 'learning again counts nothing twice');
is_deeply($again->{before}, $again->{after}, 'and changes nothing more');

run(@apply, {%env});
ok(-e "$folder/config/jarside/rules/learned.before", 'what was there before is kept');
($status, $out) = run('rules', 'learn', '--undo', {%env});
like($out, qr/as it\s+was\s+before/, '--undo goes back a step');
($status, $out) = run('rules', 'learn', '--undo', {%env});
like($out, qr/the\s+shipped\s+figures\s+apply\s+again/, 'and to the shipped figures');
ok(!-e $own, 'with no file left');
($status, undef, $err) = run('rules', 'learn', '--undo', {%env});
is($status, 2, 'nothing is left to undo');
like($err, qr/nothing was learned yet/, 'and it says so');

done_testing();
