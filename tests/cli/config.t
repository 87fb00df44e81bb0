#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# The file of settings: `jarside config` shows and sets it, what is wrong in it is told with its place, and
# commands heed it.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use Jarside;
use Test::More;

my $scratch = scratch();
my %at = (env => { XDG_CONFIG_HOME => $scratch, JARSIDE_NOW => '2026-03-01T18:00:00Z', JARSIDE_JOURNAL => "$scratch/j.db" });
my $file = "$scratch/jarside/config.yaml";

sub slurp {
    open my $in, '<', $file or return '';
    local $/;
    return <$in>;
}

sub write_settings {
    my ($text) = @_;
    open my $out, '>', $file or die "$file: $!";
    print $out $text;
    close $out or die $!;
    return;
}

# ---- shown and set -------------------------------------------------------------------------------
my ($status, $out, $err) = run('config', \%at);
is($status, 0, 'shown where there is no file');
like($out, qr/^altitude +not set: /m, 'with what each is for');
like($out, qr/\Q$file\E|config\.yaml/, 'and where they would stand');
($status, $out, $err) = run('config', 'altitude=700m', 'place=hall closet', 'station=K', \%at);
is($status, 0, 'several are set at once');
is(slurp(), "altitude: 700m\nplace: 'hall closet'\nstation: K\n", 'a line each');
is((run('config', 'place', \%at))[1], "hall closet\n", 'one is shown');
my $answer = json('config', '--json', \%at);
is($answer->{settings}{station}, 'K', 'and all of them as JSON');
ok(exists $answer->{settings}{paper} && !defined $answer->{settings}{paper}, 'null for what is not set');

write_settings("# ours\naltitude: 700m   # of the house\n\nstation: K\n");
run('config', 'paper=letter', "person=Ann O'Hara", 'station=', \%at);
is(slurp(), "# ours\naltitude: 700m   # of the house\n\npaper: letter\nperson: 'Ann O''Hara'\n",
    'comments and order stay; NAME= takes one back');
is((run('config', 'person', \%at))[1], "Ann O'Hara\n", 'a quote comes back as it was');
run('config', 'altitude=2300ft', \%at);
like(slurp(), qr/^# ours\naltitude: 2300ft\n/, 'a line is replaced where it stood');
write_settings("{paper: a4, altitude: 700m}\n");
run('config', 'paper=letter', \%at);
is(slurp(), "altitude: 700m\npaper: letter\n", 'a file in another style is written anew');

# ---- what is wrong ---------------------------------------------------------------------------------
for my $wrong (
    ["paper: a4\naltitude: high\n",   qr/config\.yaml:2:11: error: not a quantity: 'high'/,       'no number'],
    ["altitude: 700\n",               qr/config\.yaml:1:11: error: '700' has no unit/,            'no unit'],
    ["# x\npaper: a5\n",              qr/config\.yaml:2:8: error: no paper 'a5'/,                 'no such word'],
    ["colour: red\n",                 qr/config\.yaml:1:1: error: no setting 'colour'/,           'no such setting'],
    ["altitud: 3m\n",                 qr/config\.yaml:1:1: .*did you mean 'altitude'/,            'a slip'],
    ["place: [a, b]\n",               qr/config\.yaml:1:8: error: 'place' is a list/,             'a list'],
    ["station: K9\n",                 qr/config\.yaml:1:10: error: 'K9' should be one to three/,  'no letters'],
    ["place: a\nplace: b\n",          qr/config\.yaml:2:1: error: .*place/,                       'one that stands twice'],
    ["place: a\n b: c: d\n",          qr/config\.yaml:2:\d+: error: /,                            'what is no YAML'],
    ) {
    write_settings($wrong->[0]);
    for my $command (['cook', '--gauge', '14psi', '--minutes', '90', '--vessel', 'jar:1litre'], ['config'], ['list']) {
        ($status, $out, $err) = run(@$command, \%at);
        is($status, 65, "$wrong->[2] is refused by $command->[0]");
        like($err, $wrong->[1], 'with file, line and column');
        is($out, '', 'and nothing is done');
    }
}
write_settings("species: oister\n");
($status, $out, $err) = run('forecast', '--temp', '22C', '--vessel', 'jar:1litre', \%at);
is($status, 65, 'an id of the rules is checked when they are there');
like($err, qr/config\.yaml:1:10: error: no species 'oister'; did you mean 'oyster'\?/, 'and told in the same way');
is((run('help', \%at))[0], 0, 'help is given whatever stands in the file');
is((run('--version', \%at))[0], 0, 'so is the version');
write_settings("species: oyster\n");
for my $wrong ('paper=a5', 'altitude=700', 'station=K9', "place=a\nb", 'colour=red', 'species=oister') {
    ($status, $out, $err) = run('config', $wrong, \%at);
    isnt($status, 0, "$wrong is refused") or diag $out;
    is(slurp(), "species: oyster\n", 'and the file left as it is');
}

# ---- heeded ----------------------------------------------------------------------------------------
write_settings("altitude: 700m\nspecies: oyster\nplace: closet\nstation: K\nperson: Ann\ntemperature: F\npressure: psi\nweight: lb\npaper: letter\n");
my $cook = json('cook', '--gauge', '15', '--minutes', '90', '--vessel', 'jar:1litre', '--json', \%at);
my $said = json('cook', '--gauge', '15psi', '--altitude', '700m', '--minutes', '90', '--vessel', 'jar:1litre', '--json',
    { env => { JARSIDE_NOW => '2026-03-01T18:00:00Z' } });
is_deeply($cook, $said, 'the altitude and the unit of the gauge are those of the settings');
is_deeply(
    json('cook', '--gauge', '1bar', '--altitude', '0m', '--minutes', '90', '--vessel', 'jar:1litre', '--json', \%at),
    json('cook', '--gauge', '1bar', '--altitude', '0m', '--minutes', '90', '--vessel', 'jar:1litre', '--json'),
    'what is said goes before'
);
is_deeply(
    json('forecast', '--temp', '72', '--vessel', 'jar:1litre', '--mass', '1', '--json', \%at),
    json('forecast', '--species', 'oyster', '--temp', '72F', '--vessel', 'jar:1litre', '--mass', '1lb', '--json', { env => { JARSIDE_NOW => '2026-03-01T18:00:00Z' } }),
    'so are species, temperature and weight'
);
($status, $out, $err) = run(qw(batch 3 quart jars wheat), \%at);
is($status, 0, 'a batch with nothing but its vessels') or diag $err;
like($out, qr/^K-B1: 3 x quart jar, oyster on wheat/m, 'has the station, and the species');
like($out, qr/^From the settings: oyster; place closet; altitude 700m\.$/m, 'and says what it took from the settings');
is(json(qw(list cooks --json), \%at)->{records}[0]{altitude}, 700, 'the altitude is that of its cook');
($status, $out) = run(qw(batch 2 quart jars wheat shiitake --place shelf), \%at);
like($out, qr/shiitake on wheat/, 'what is said goes before the settings');
unlike($out, qr/From the settings/, 'which then say nothing');
is((run('config', 'station', { env => { %{ $at{env} }, JARSIDE_STATION => 'M' } }))[1], "M\n", 'the environment goes before the file');
($status, $out) = run(qw(batch 1 quart jar), { env => { %{ $at{env} }, JARSIDE_STATION => 'M' } });
like($out, qr/^M-B1:/m, 'also for labels');
($status, $out) = run('labels', '--html', '-', \%at);
like($out, qr/size: letter|8\.5in|215\.9mm/i, 'the paper is that of the settings');

# A description that says nothing of the altitude is judged with that of the settings; one that does, is not.
my @cooked = ('judge', '--json', 'cooked 60 min at 12 psi, quart jars of rye, sour wet kernels day 4');
write_settings("altitude: 2300m\n");
my ($here) = @{ json(@cooked, \%at)->{computed} };
my ($there) = @{ json(@cooked[0, 1], "$cooked[2], altitude 2300m")->{computed} };
is($here->{say}, $there->{say}, 'the altitude of the settings counts as if it were said');
like($here->{say}, qr/2300 m/, 'and is named');
my ($fact) = grep { $_->{sign} eq 'altitude' } @{ json(@cooked, \%at)->{understood} };
is($fact->{from}, 'settings: 2300m', 'with where it is from');
like(json(@cooked[0, 1], "$cooked[2], altitude 200m", \%at)->{computed}[0]{say}, qr/ 200 m/, 'what is said goes before');

# A bare number in a record has the unit of the settings.
write_settings("pressure: bar\ntemperature: F\naltitude: 500m\n");
run(qw(record cook C9 gauge=1  minutes=90), \%at);
is(json(qw(record cook C9 --json), \%at)->{record}{gauge}, 100, 'a bare gauge of a record is in bar');
is(json(qw(record cook C9 --json), \%at)->{record}{altitude}, 500, 'and a new cook was at the altitude of the settings');

# 2 March or 3 February, as the settings order it.
for my $case (['day/month/year', '2026-02-03'], ['month/day/year', '2026-03-02']) {
    write_settings("dates: $case->[0]\n");
    my %then = (env => { %{ $at{env} }, JARSIDE_NOW => '2026-03-05T18:00:00Z', JARSIDE_JOURNAL => "$scratch/" . substr($case->[0], 0, 3) . '.db' });
    my $batch = json(qw(batch 2 quart jars wheat oyster --json --at 3/2/26), \%then);
    like($batch->{at}, qr/^$case->[1]/, "$case->[0]: 3/2/26 is $case->[1]");
}

# ---- calls in other shapes ---------------------------------------------------------------------------
unlink $file;
is((run('-V'))[1], (run('version'))[1], '-V is the version');
is((run('--version'))[1], (run('version'))[1], 'so is --version');
is((run('-h'))[1], (run('help'))[1], '-h is the help');
like((run('help', 'journal'))[1], qr/^  journal check .*^  journal demo /ms, 'a group is explained by its commands');
is((run('journal', '--help'))[1], (run('help', 'journal'))[1], 'by --help too');
is((run('rules', '-h'))[1], (run('help', 'rules'))[1], 'and for rules');
($status, $out, $err) = run('journal');
is($status, 2, 'a group alone is wrong use');
like($err, qr/'journal' needs a second word: check or demo/, 'and says what it needs');
my @description = ('judge', 'green powder by the port');
is((run('--color', 'never', @description))[1], (run(@description))[1], 'common options may stand before the command');
is((run('--json', @description))[1], (run(@description, '--json'))[1], 'and its own');
is((run('--set', 'colour=green', 'judge'))[1], (run('judge', '--set', 'colour=green'))[1], 'with their values');
($status, $out, $err) = run('--rules', 'judge', 'help');
is($out, (run('help'))[1], 'the value of an option is no command');
($status, $out, $err) = run('-q', @description);
is("$status$out$err", '0', '-q says nothing when all is well');
($status, $out, $err) = run('-q', 'show', 'nonesuch');
isnt($status, 0, 'and what is wrong is told');
isnt($err, '', 'all the same');
is((run('-q', @description, '--json'))[1], (run(@description, '--json'))[1], 'JSON is what was asked for');

# ---- a pager -----------------------------------------------------------------------------------------
sub on_terminal {
    my ($rows, %env) = @_;
    my ($shown, $left) = talk_by(sub { return }, { rows => $rows, args => ['help'], env => { TERM => 'xterm', NO_COLOR => 1, %env } });
    return $shown =~ s/\r//gr;
}
my $pager = "$scratch/pager";
open my $script, '>', $pager or die $!;
print $script "#!/bin/sh\necho \"paged: \$1\"\ncat\n";
close $script or die $!;
chmod 0755, $pager;
my $help = (run('help'))[1];
is(on_terminal(20, PAGER => "$pager with"), "paged: with\n$help", 'what is longer than the terminal goes to the pager');
is(on_terminal(200, PAGER => "$pager with"), $help, 'what fits does not');
is(on_terminal(20, PAGER => "$pager with", TERM => 'dumb'), $help, 'nor what a terminal could not turn the pages of');
is(on_terminal(20, PAGER => 'cat'), $help, 'nor does it go to cat');
is(on_terminal(20, PAGER => ''), $help, 'nor to none');
is(on_terminal(20, PAGER => '/nowhere/pager'), $help, 'nor is it lost where the pager is not there');
is((run('help', { env => { PAGER => "$pager with" } }))[1], $help, 'what is no terminal is never paged');
open $script, '>', $pager or die $!;
print $script "#!/bin/sh\nhead -n 2\n";
close $script or die $!;
like(on_terminal(20, PAGER => $pager), qr/\A(?:.*\n){2}\z/, 'who leaves the pager early is not told of it');

done_testing;
