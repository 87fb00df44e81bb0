#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# Signals at every phase of the conversation, a window that changes, a terminal that goes away: no crash, no hang, the
# terminal as it was, the end that the sender of the signal expects; and none where it was told to ignore the signal.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use Cwd qw(abs_path);
use IO::Pty;
use IO::Select;
use Jarside;
use POSIX qw(:sys_wait_h :termios_h);
use Test::More;

plan skip_all => 'no pseudo-terminals here' unless eval { IO::Pty->new };

my $program = abs_path($ENV{JARSIDE} // project_root() . '/.build/release/jarside');
my $home    = scratch();
my $PATIENCE = 30;

# A conversation that can be spoken to and signalled: start(rows, columns, {ignore, args}), then see(pattern), type, end.
sub start {
    my ($rows, $columns, $options) = @_;
    my $pty   = IO::Pty->new;
    my $slave = $pty->slave;
    $slave->set_winsize($rows // 24, $columns // 80, 0, 0);
    my $pid = fork // die $!;
    if (!$pid) {
        %ENV = (PATH => $ENV{PATH}, HOME => $home, XDG_STATE_HOME => "$home/state", XDG_DATA_HOME => "$home/data",
            LC_ALL => 'C.UTF-8', TERM => 'dumb', INPUTRC => '/dev/null', map { $_ => $ENV{$_} } grep {/SAN_OPTIONS$/} keys %ENV);
        $pty->make_slave_controlling_terminal;
        close $pty;
        open(STDIN, '<&', $slave); open(STDOUT, '>&', $slave); open(STDERR, '>&', $slave);
        $SIG{$_} = 'DEFAULT' for qw(HUP INT TERM QUIT TSTP);    # whoever runs the tests may ignore them
        $SIG{$_} = 'IGNORE' for @{ $options->{ignore} // [] };
        exec($program, @{ $options->{args} // [] }) or POSIX::_exit(127);
    }
    return { pid => $pid, pty => $pty, slave => $slave, seen => '' };
}

# Reads until the pattern stands in what came since the last time; false when it never does.
sub see {
    my ($talk, $pattern) = @_;
    my $select = IO::Select->new($talk->{pty});
    while ($talk->{seen} !~ /$pattern/) {
        return 0 unless $select->can_read($PATIENCE) && sysread($talk->{pty}, my $bytes, 65536);
        $talk->{seen} .= $bytes;
    }
    $talk->{page} = $talk->{seen};
    $talk->{seen} = '';
    return 1;
}

sub type { my ($talk, $line) = @_; syswrite($talk->{pty}, $line) }

# How it ends: as a shell counts it; "hung" when it does not.
sub ending {
    my ($talk) = @_;
    my $got = eval {
        local $SIG{ALRM} = sub { die "hung\n" };
        alarm $PATIENCE;
        # What it still writes has to go somewhere.
        1 while $talk->{pty} && IO::Select->new($talk->{pty})->can_read(0.2) && sysread($talk->{pty}, my $bytes, 65536);
        waitpid($talk->{pid}, 0);
        alarm 0;
        1;
    };
    alarm 0;
    return 'hung' if !$got && kill KILL => $talk->{pid};
    return $? & 127 ? 128 + ($? & 127) : $? >> 8;
}

# Ends the input. Typed while the terminal is as a shell needs it, between two lines, that is lost: a person types it again.
sub leave {
    my ($talk) = @_;
    for (1 .. $PATIENCE) {
        type($talk, "\cD");
        1 while IO::Select->new($talk->{pty})->can_read(1) && sysread($talk->{pty}, my $bytes, 65536);
        return $? & 127 ? 128 + ($? & 127) : $? >> 8 if waitpid($talk->{pid}, WNOHANG) == $talk->{pid};
    }
    kill KILL => $talk->{pid};
    return 'hung';
}

# Whether lines are edited by the terminal and echoed, as a shell leaves it.
sub cooked {
    my ($talk) = @_;
    my $terminal = POSIX::Termios->new;
    $terminal->getattr(fileno $talk->{slave});
    return ($terminal->getlflag & ICANON) && ($terminal->getlflag & ECHO);
}

my $prompt = qr/[\r\n]> \z/;
my %phase  = (
    'at the first prompt' => sub { see($_[0], $prompt) },
    'at a question'       => sub { see($_[0], $prompt); type($_[0], "day 12, white\r"); see($_[0], $prompt) },
    'between two pages'   => sub {
        see($_[0], $prompt); type($_[0], "green powder by the port\r");
        my $seen = see($_[0], qr/(?:\(Enter for more\) |[\r\n]> )\z/);
        return $seen;
    },
    'while a line is typed' => sub { see($_[0], $prompt); type($_[0], 'green pow'); see($_[0], qr/green pow\z/) },
);

for my $phase (sort keys %phase) {
    for my $signal (qw(TERM HUP)) {
        my $talk = start(12);
        ok($phase{$phase}->($talk), "$phase") or diag $talk->{seen};
        kill $signal => $talk->{pid};
        is(ending($talk), 128 + ($signal eq 'TERM' ? 15 : 1), "SIG$signal $phase ends it as a signal does");
        ok(cooked($talk), 'and leaves the terminal as it was');
    }
    my $talk = start(12);
    $phase{$phase}->($talk);
    kill INT => $talk->{pid};
    ok(see($talk, qr/[\r\n](?:> |\(Enter for more\) )\z/), "SIGINT $phase: goes on") or diag $talk->{seen};
    type($talk, "\cD");
    is(ending($talk), 0, 'and leaves well when asked to');

    $talk = start(12);
    $phase{$phase}->($talk);
    close $talk->{slave};
    close delete $talk->{pty};
    isnt(ending($talk), 'hung', "a terminal hung up $phase is no reason to go on");
}

# As nohup and a shell's jobs in the background leave it. The signal has been taken note of, or not, once a line that was
# sent after it is answered.
subtest 'what was ignored stays ignored' => sub {
    for my $signal (qw(HUP INT TERM QUIT TSTP)) {
        my $talk = start(24, 80, { ignore => [$signal] });
        see($talk, $prompt);
        type($talk, 'green pow');
        see($talk, qr/green pow\z/);
        kill $signal => $talk->{pid};
        type($talk, "der by the port\r");
        ok(see($talk, qr/Discard.*[\r\n](?:> |\(Enter for more\) )\z/s), "SIG$signal: nothing happens, not even to the line") or diag $talk->{seen};
        type($talk, "\cD");
        is(ending($talk), 0, 'and it leaves when asked to');
    }
    for my $phase (sort keys %phase) {
        my $talk = start(12, 80, { ignore => ['HUP'] });
        $phase{$phase}->($talk);
        close $talk->{slave};
        close delete $talk->{pty};
        my $end = ending($talk);
        ok($end eq '0' || $end eq '74', "$phase: without a terminal, and SIGHUP ignored, it ends all the same") or diag $end;
    }
};

# Questions of one line each, of commands that lack a fact, are read in the same way.
subtest 'a command that asks' => sub {
    my $asked = qr/\w.*: \z/;
    for my $signal (qw(TERM HUP)) {
        my $talk = start(24, 80, { args => ['batch'] });
        ok(see($talk, $asked), 'it asks') or diag $talk->{seen};
        kill $signal => $talk->{pid};
        is(ending($talk), 128 + ($signal eq 'TERM' ? 15 : 1), "SIG$signal ends it as a signal does");
        ok(cooked($talk), 'and leaves the terminal as it was');
    }
    my $talk = start(24, 80, { args => ['batch'] });
    see($talk, $asked);
    kill INT => $talk->{pid};
    is(ending($talk), 2, 'SIGINT leaves the question');
    ok(cooked($talk), 'and the terminal as it was');
    for my $ignore ([], ['HUP']) {
        $talk = start(24, 80, { args => ['batch'], ignore => $ignore });
        see($talk, $asked);
        close $talk->{slave};
        close delete $talk->{pty};
        isnt(ending($talk), 'hung', "a terminal hung up ends it" . (@$ignore ? ", SIGHUP ignored or not" : ""));
    }
    ok(!-e "$home/data/jarside/journal.db" || (run('list', '--journal', "$home/data/jarside/journal.db"))[1] !~ /B1/, 'and nothing was recorded');
};

subtest 'stopped and continued' => sub {
    my $talk = start();
    see($talk, $prompt);
    kill TSTP => $talk->{pid};
    my $stopped = 0;
    for (1 .. $PATIENCE * 10) {
        if (waitpid($talk->{pid}, WUNTRACED | WNOHANG) > 0) { $stopped = kill 0 => $talk->{pid}; last }    # told of, and not gone
        select undef, undef, undef, 0.1;
    }
    ok($stopped,      'SIGTSTP stops it');
    ok(cooked($talk), 'with the terminal as the shell needs it');
    kill CONT => $talk->{pid};
    type($talk, "green powder by the port\r");
    ok(see($talk, qr/Discard/), 'SIGCONT: it hears and answers');
    kill TERM => $talk->{pid};
    is(ending($talk), 143, 'and can be ended');
};

subtest 'a window that changes' => sub {
    my $talk = start(50, 80);
    see($talk, $prompt);
    $talk->{slave}->set_winsize(50, 30, 0, 0);
    kill WINCH => $talk->{pid};
    type($talk, "\r");
    see($talk, $prompt);
    type($talk, "green powder by the port\r");
    ok(see($talk, qr/Discard.*[\r\n](?:> |\(Enter for more\) )\z/s), 'it answers') or diag $talk->{seen};
    my ($longest) = sort { $b <=> $a } map { length } grep { !/^>/ } split /[\r\n]+/, $talk->{page};
    cmp_ok($longest, '<=', 30, 'as wide as the window is now');
    kill TERM => $talk->{pid};
    is(ending($talk), 143, 'and can be ended');
};

subtest 'a window that changes at any phase' => sub {
    for my $phase (sort keys %phase) {
        my $talk = start(12, 80);
        $phase{$phase}->($talk);
        for my $size ([ 40, 20 ], [ 3, 200 ], [ 1, 1 ], [ 60, 80 ]) {
            $talk->{slave}->set_winsize(@$size, 0, 0);
            kill WINCH => $talk->{pid};
        }
        # The rest of the line; elsewhere a line of its own.
        type($talk, $phase eq 'while a line is typed' ? "der by the port\r" : $phase eq 'between two pages' ? "\r" : "green powder by the port\r");
        ok(see($talk, qr/[\r\n](?:> |\(Enter for more\) )\z/), "$phase: it goes on") or diag $talk->{seen};
        like($talk->{page}, qr/Discard/, 'and no word of a line that was begun is lost') if $phase eq 'while a line is typed';
        is(leave($talk), 0, 'and leaves when asked to');
    }
};

subtest 'what is left behind' => sub {
    my $talk = start();
    see($talk, $prompt);
    type($talk, "a line for the history\r");
    see($talk, $prompt);
    leave($talk);
    my $file = "$home/state/jarside/history";
    ok(-s $file, 'a history');
    is((stat $file)[2] & 07777, 0600, 'that only its owner reads');
    is((stat "$home/state/jarside")[2] & 07777, 0700, 'in a folder likewise');
};

done_testing;
