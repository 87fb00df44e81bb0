#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# What a shell offers at Tab: words from the table of commands, labels from the journal; in bash, zsh and fish
# as they are typed at.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use File::Basename qw(dirname);
use Cwd qw(abs_path);
use IO::Pty;
use IO::Select;
use Jarside;
use Test::More;
use Time::HiRes qw(time);

my $scratch = scratch();
my %at = (env => { JARSIDE_NOW => '2026-03-01T18:00:00Z', JARSIDE_JOURNAL => "$scratch/j.db" });
is((run(qw(batch 2 quart jars wheat oyster --label Fern1 --place), 'hall closet', \%at))[0], 0, 'a batch');
my $trap = "Oak;touch \$(touch trap)'\"\\ x";
is((run(qw(batch 2 quart jars rye oyster --label), $trap, '--place', 'shelf', \%at))[0], 0, 'one with a name that shells could take for more');

# The words offered for the last one, without what is said of them.
sub offered {
    my @words = @_;
    my ($status, $out, $err) = run('complete', '--', @words, \%at);
    is("$status$err", '0', "Tab behind '@words' is never an error");
    return [map { s/\t.*//r } split /\n/, $out];
}

my %commands = map { /^  (\S+)/ ? ($1 => 1) : () } split /\n/, (run('help'))[1];
delete $commands{jarside};
is_deeply([sort @{ offered('') }], [sort keys %commands], 'the commands of the help, no more');
is_deeply(offered('hist'), ['history'], 'by their beginning');
is_deeply(offered('rules', ''), [qw(check test words learn)], 'the second words of a group');
is_deeply(offered('--color', 'never', 'journal', 'd'), ['demo'], 'also behind an option');
is_deeply(offered('--json', 'hist'), ['history'], 'which may be the command\'s own');
is_deeply(offered('labels', '--pap'), ['--paper'], 'options');
is_deeply(offered('labels', '--paper', ''), [qw(a4 letter)], 'the words of a choice');
is_deeply(offered('list', '--col'), ['--color'], 'and those of all commands');
is_deeply(offered('batch', '--species', 'shii'), ['shiitake'], 'ids of the rules');
is_deeply(offered('history', 'F'), ['Fern1'], 'labels of the journal');
is_deeply(offered('history', 'Fern1-'), ['Fern1-1', 'Fern1-2'], 'the vessels of a batch, once it is named');
is_deeply(offered('move', 'Fern1', 'ha'), ['hall closet'], 'places');
is_deeply(offered('batch', '--starter', ''), ['S1'], 'records of the kind that the option asks for');
is_deeply(offered('confirm', 'Fern1-1', 'green'), ['green_mould'], 'findings');
is_deeply(offered('config', 'alt'), ['altitude='], 'settings');
is_deeply(offered('help', 'lab'), ['labels'], 'commands to be explained');
is_deeply(offered('--journal', "$scratch/none.db", 'history', 'F'), [], 'of a journal that is not there nothing');
is_deeply(offered('nonsense', ''), [], 'behind what is no command nothing');
is_deeply(offered('backup', ''), [], 'where a file is meant nothing: the shell offers files');
my (undef, $told) = run('complete', '--', 'hist', \%at);
is($told, "history\tshows all that happened to a vessel, batch, starter, cook ...\n", 'with what each is');
is((run('complete'))[0], 0, 'no words: nothing');

# ---- the shells ------------------------------------------------------------------------------------
my $scripts = project_root() . '/engine/cli/share';
my $program = abs_path($ENV{JARSIDE} // project_root() . '/.build/release/jarside');

# Types lines at a shell, each once `ready` is to be seen, until `want` is; what was seen.
sub typed {
    my ($shell, $setup, $line, $want) = @_;
    my $pty = IO::Pty->new;
    my $slave = $pty->slave;
    $slave->set_winsize(24, 100, 0, 0);
    my $pid = fork // die $!;
    if (!$pid) {
        %ENV = Jarside::environment(%{ $at{env} }, TERM => 'xterm', PATH => dirname($program) . ":$ENV{PATH}", PS1 => '> ');
        delete $ENV{COLUMNS};
        $pty->make_slave_controlling_terminal;
        close $pty;
        open(STDIN, '<&', $slave); open(STDOUT, '>&', $slave); open(STDERR, '>&', $slave);
        exec(@$shell) or POSIX::_exit(127);
    }
    close $slave;
    my ($seen, $select, $end) = ('', IO::Select->new($pty), time + 20);
    my $wait_for = sub {
        my ($pattern) = @_;
        while (time < $end && $seen !~ $pattern && $select->can_read($end - time)) {
            sysread($pty, my $bytes, 65536) or last;
            $seen .= $bytes;
        }
    };
    syswrite($pty, "$setup; printf 'rea%s\\n' dy\r");
    $wait_for->(qr/ready\r?\n/);
    $seen = '';
    syswrite($pty, $line);
    select undef, undef, undef, 0.5; # a shell may take Enter before it has completed
    syswrite($pty, "\r");
    $wait_for->($want);
    kill 'KILL', $pid;
    close $pty;
    waitpid $pid, 0;
    return $seen;
}

my %shells = (
    bash => [['bash', '--norc', '--noprofile', '-i'], "source '$scripts/jarside.bash'"],
    zsh  => [['zsh', '-f', '-i'], "fpath=('$scripts' \$fpath); autoload -Uz compinit; compinit -u -D"],
    fish => [['fish', '--no-config', '-i'], "source '$scripts/jarside.fish'"],
);
for my $name (sort keys %shells) {
SKIP: {
        skip "no $name here", 5 if system("command -v $name >/dev/null 2>&1");
        my @shell = @{ $shells{$name} };
        like(typed(@shell, "jarside vers\t", qr/jarside \d+\.\d+/), qr/jarside \d+\.\d+/, "$name completes a command");
        like(typed(@shell, "jarside history Fe\t", qr/oyster on wheat/), qr/oyster on wheat/, "$name completes a label");
        like(typed([@{ $shell[0] }], "cd '$scratch'; $shell[1]", "jarside history Oak\t", qr/oyster on rye/), qr/oyster on rye/,
            "$name quotes a label that would be a command");
        ok(!-e "$scratch/trap", 'which it is not');
        like(typed(@shell, "jarside history ha\t", qr/there now: 2/), qr/there now: 2/, "$name completes a label with a blank in it");
    }
}

done_testing;
