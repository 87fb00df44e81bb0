#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# Whatever comes in: a clear message, the documented exit status, no crash, nothing that steers a terminal.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use Jarside;
use Test::More;

my $scratch = scratch();

sub no_control { my ($text, $title) = @_; unlike($text, qr/[\x00-\x08\x0b-\x1f\x7f]|\xc2[\x80-\x9f]|\xe2\x80[\x8e\x8f\xaa-\xae]|\xe2\x81[\xa6-\xa9]/, $title) }

sub orderly {
    my ($title, $expected, @run) = @_;
    my ($status, $out, $err) = run(@run);
    is($status, $expected, "$title: exit $expected") or diag $err;
    no_control($out . $err, "$title: no control characters");
    return ($out, $err);
}

my (undef, $err) = orderly('empty', 2, 'judge', '');
like($err, qr/nothing to judge/, 'says so');
orderly('no words at all', 2, 'judge');
(undef, $err) = orderly('a megabyte of words', 65, 'judge', '-', { in => 'green ' x 180_000 });
like($err, qr/at most 65536/, 'says how long it may be');
(undef, $err) = orderly('a megabyte without a blank', 65, 'judge', '-', { in => 'g' x 1_000_000 });
orderly('bytes that are no text', 65, 'judge', '-', { in => join '', map { chr } 128 .. 255 });
orderly('NUL bytes', 0, 'judge', '-', { in => "green\0powder" });
my ($out) = orderly('escape sequences', 0, 'judge', "\e[31mgreen\e[0m powder \e]0;owned\a by the port");
like($out, qr/Discard/, 'the words between are still read');
orderly('bidirectional controls', 0, 'judge', "green \xe2\x80\xae powder \xe2\x81\xa6 here");
orderly('escape sequences as JSON', 0, qw(judge --json), "green powder \e[31mgreen\e[0m qqq\e[2Jqq \xe2\x80\xaeabc");
($out) = orderly('contradiction', 0, 'judge', 'day 4. it is dry. it is soaking wet.');
like($out, qr/contradict/, 'is told');
($out) = orderly('a day that cannot be', 0, 'judge', 'day -3, green powder');
like($out, qr/-3/, 'is shown back');
($out) = orderly('a pressure that cannot be', 0, 'judge', 'cooked 90 min at 900 psi, green powder');
like($out, qr/900 psi/, 'is shown back');
orderly('an impossible setting', 2, qw(judge --set), 'day=-3 days');
orderly('an unknown option', 2, qw(judge --jsno green));
orderly('an unknown command', 2, 'juge', 'green');
orderly('absurd stakes', 2, qw(judge --neighbours -4 green));
orderly('stakes that are no number', 2, qw(judge --worth nan green));
orderly('an option without its value', 2, qw(judge --case));

subtest 'rules that are not there or broken' => sub {
    my (undef, $missing) = orderly('a missing folder', 74, qw(judge --rules /nonexistent green));
    like($missing, qr{/nonexistent}, 'is named');
    my (undef, $none) = orderly('no rules at all', 74, 'judge', 'green', { env => { JARSIDE_RULES => '/nonexistent' } });
    mkdir "$scratch/bad";
    open(my $to, '>', "$scratch/bad/three.yaml") or die $!;
    print {$to} <<'YAML';
signs:
  hue:
    lable: hue
    ask: Which hue?
    kind: one
    source: expert judgement
    values:
      a: {label: a, base: 1.7}
      b: {label: b, base: 0.5}
finding:
  id: thing
  name: Thing
  what: A thing.
  status: sick
  hazard: none
  base: 0.1
  looks: {no_such_sign: {a: usually}}
  source: expert judgement
YAML
    close $to;
    my (undef, $faults) = orderly('a file with faults', 65, qw(rules check), "$scratch/bad");
    my %at = map { $_ => 1 } $faults =~ /three\.yaml:(\d+:\d+)/g;
    cmp_ok(scalar keys %at, '>=', 3, 'gives a position for each') or diag $faults;
    like($faults, qr/label/, 'and suggests');
};

subtest 'output that cannot be written' => sub {
    my $program = $ENV{JARSIDE} // project_root() . '/.build/release/jarside';
    system("'$program' judge green > /dev/full 2> '$scratch/full'");
    is($? >> 8, 74, 'a full disk is a fault of writing');
    system("'$program' judge green >&- 2> '$scratch/closed'");
    is($? >> 8, 74, 'so is a closed output');
    system("bash -c \"'$program' show | head -1 > /dev/null; exit \\\${PIPESTATUS[0]}\" 2> /dev/null");
    ok(($? >> 8) == 141 || ($? >> 8) == 0, 'a closed pipe is no crash');
};

subtest 'the conversation without a terminal' => sub {
    my ($out) = orderly('ends with its input', 0, { in => "green powder by the port\nno\n" });
    like($out, qr/Discard/, 'with a verdict');
    orderly('random bytes', 0, { in => join '', map { chr(($_ * 7919) % 256) } 1 .. 4000 });
    orderly('no input', 0, { in => '' });
    orderly('a huge line', 0, { in => ('x' x 1_000_000) . "\n" });
};

subtest 'each command with nothing after it' => sub {
    my %home = (env => { JARSIDE_JOURNAL => "$scratch/season.db" });
    my ($status) = run(qw(journal demo), "$scratch/season.db");
    is($status, 0, 'a journal');
    my (undef, $help) = run('--help');
    my @commands = map { [split] } $help =~ /^  ([a-z]+(?: [a-z]+)?)(?:  |$)/mg;
    cmp_ok(scalar @commands, '>', 30, 'all of them');
    mkdir "$scratch/here";
    chdir "$scratch/here" or die $!;    # an export goes into a folder of its own
    for my $command (@commands) {
        for my $more ([], ['--json']) {
            my ($ended, $out, $err) = run(@$command, @$more, \%home);
            cmp_ok($ended, '<', 128, "@$command @$more: no crash") or diag $err;
            no_control($out . $err, "@$command @$more: no control characters");
        }
    }
};

done_testing;
