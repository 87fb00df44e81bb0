#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# `jarside journal demo`: an invented season in a new journal, judged by the rules in use.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use Jarside;
use Test::More;

my $folder = scratch();
my $file   = "$folder/season.db";

my ($status, $out, $err) = run('journal', 'demo', $file);
is($status, 0, 'is built') or diag $err;
like($out, qr/12 batches, 123\s+vessels and (\d+)\s+looks/, 'says what is in it');
ok(-s $file, 'into the file that was named');
is((stat $file)[2] & 07777, 0600, 'which is private');

($status, $out, $err) = run('journal', 'demo', $file);
is($status, 65, 'a file that is there is refused');
like($err, qr/is there already and stays as it is/, 'and says so');
is($out, '', 'with nothing on standard output');

($status, undef, $err) = run('journal', 'demo');
is($status, 2, 'without a file it is wrong use');
like($err, qr/jarside journal demo season\.db/, 'and an example is given');

($status, undef, $err) = run('journal', 'demo', "$folder/none/season.db", { env => { JARSIDE_RULES => "$folder/nowhere" } });
isnt($status, 0, 'without rules there is no demo');

done_testing;
