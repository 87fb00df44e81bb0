#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# The shipped rules are without fault, and verdicts agree with the labelled corpus.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use Jarside;
use Test::More;

my ($status, $out, $err) = run(qw(rules check));
is($status, 0, 'rules check passes');
is($out . $err, '', 'and is silent');

sub share { my ($part, $whole) = @_; return $whole ? $part / $whole : 0 }

my $score = json(qw(rules test --json));
note sprintf 'corpus: %d cases; first %.1f %%, first three %.1f %%, cause %.1f %%, action %.1f %%, log score %.3f, ECE %.3f',
    $score->{cases}, 100 * share($score->{finding_first}, $score->{cases}),
    100 * share($score->{finding_three}, $score->{cases}),
    100 * share($score->{cause_three}, $score->{caused}),
    100 * share($score->{action_right}, $score->{cases}), $score->{log_score}, $score->{calibration_error};
cmp_ok($score->{cases}, '>=', 80, 'at least eighty cases');
cmp_ok($score->{contamination_error}, '<=', 0.1, 'what it says of the chance of contamination holds within a tenth');
is($score->{unsafe_keeps}, 0, 'no contaminated vessel is called keep');
cmp_ok(share($score->{finding_three}, $score->{cases}), '>=', 0.95, 'finding among the first three: 95 %');
cmp_ok(share($score->{action_right}, $score->{cases}), '>=', 0.95, 'action accepted: 95 %');
cmp_ok(share($score->{needless_discards}, $score->{clean}), '<=', 0.05, 'needless discards: 5 %');

# Cases nobody tuned against: no bar but the one that protects people.
my $held_out = json(qw(rules test --json), project_root() . '/corpus/cases-held-out');
note sprintf 'held out: %d cases; first three %.1f %%, action %.1f %%, log score %.3f', $held_out->{cases},
    100 * share($held_out->{finding_three}, $held_out->{cases}),
    100 * share($held_out->{action_right}, $held_out->{cases}), $held_out->{log_score};
is($held_out->{unsafe_keeps}, 0, 'none of the held-out contaminated ones is kept either');

# Short, odd descriptions that the rules do not read well yet: a bar of their own, to be raised and never lowered.
my $hard = json(qw(rules test --json), project_root() . '/corpus/cases-hard');
note sprintf 'hard: %d cases; first three %.1f %%, action %.1f %%, log score %.3f', $hard->{cases},
    100 * share($hard->{finding_three}, $hard->{cases}), 100 * share($hard->{action_right}, $hard->{cases}),
    $hard->{log_score};
is($hard->{unsafe_keeps}, 0, 'none of the hard contaminated ones is kept');
cmp_ok(share($hard->{finding_three}, $hard->{cases}), '>=', 0.85, 'finding among the first three: 85 % of the hard ones');
cmp_ok(share($hard->{action_right}, $hard->{cases}), '>=', 0.65, 'action accepted: 65 % of the hard ones');

($status, $out) = run(qw(rules test));
like($out, qr/log score .*Brier/s, 'in words');
($status, $out) = run(qw(rules test --fit));
like($out, qr/^tau [01]\.\d+/, 'tau can be fitted');
my ($fitted, $stored) = $out =~ /^tau (\d\.\d+).*have\s+(\d\.\d+)/s;
ok(defined $stored, 'both are told');
cmp_ok(abs($fitted - $stored), '<', 0.011, 'and the stored one is the fitted one');

# The table of words is what the labelled messages say, to the byte; those held out are not among them.
chdir project_root() or die $!;
($status, $out) = run(qw(rules words corpus/voices corpus/cases corpus/cases-hard));
open(my $table, '<:raw', 'rules/words.tsv') or die $!;
ok($out eq do { local $/; <$table> }, 'rules/words.tsv is counted from the corpus');
($status, $out) = run(qw(rules words --causes corpus/accounts));
open($table, '<:raw', 'rules/cause-words.tsv') or die $!;
ok($out eq do { local $/; <$table> }, 'and rules/cause-words.tsv from its accounts');
my $voices = json(qw(rules test --json corpus/voices-held-out));
diag sprintf 'held-out writers: %d of %d actions accepted, %d unsafe keeps, %d needless discards, AUC %.3f', $voices->{action_right},
    $voices->{cases}, $voices->{unsafe_keeps}, $voices->{needless_discards}, $voices->{auc};
cmp_ok(share($voices->{unsafe_keeps}, $voices->{cases}), '<=', 0.005, 'at most one in 200 held-out messages is an unsafe keep');
cmp_ok(share($voices->{action_right}, $voices->{cases}), '>=', 0.72, 'action accepted: 72 % of the held-out messages');
cmp_ok($voices->{auc}, '>=', 0.96, 'contaminated told from sound: AUC 0.96 on held-out messages');

done_testing;
