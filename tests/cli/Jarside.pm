# SPDX-License-Identifier: GPL-3.0-or-later
# What the command-line tests share: running the program, and talking to it through a pseudo-terminal.
package Jarside;

use strict;
use warnings;
use Cpanel::JSON::XS qw(decode_json);
use Exporter 'import';
use File::Basename qw(dirname);
use File::Copy qw(copy);
use File::Temp qw(tempdir);
use IPC::Open3;
use IO::Pty;
use IO::Select;
use POSIX qw(:sys_wait_h);
use Symbol qw(gensym);
use Test::More;

our @EXPORT = qw(run json decode_json golden talk talk_by project_root scratch season);
our @EXPORT_OK = qw(near refused);

my $root = dirname(__FILE__) . "/../..";

sub project_root { return $root }
# Read once: while a program runs the environment is a private one.
my $program = $ENV{JARSIDE} // "$root/.build/release/jarside";
sub program { return $program }
sub scratch { return tempdir(CLEANUP => 1) }

# A private home and a fixed terminal, so that no test depends on who runs it.
my $home = tempdir(CLEANUP => 1);
my %calm = (
    HOME => $home, XDG_CONFIG_HOME => "$home/config", XDG_STATE_HOME => "$home/state",
    XDG_DATA_HOME => "$home/data", LC_ALL => 'C.UTF-8', TZ => 'UTC', TERM => 'dumb',
    INPUTRC => '/dev/null', COLUMNS => 80,
);
# Readline marks where it completes etc. only for a terminal; a pty test sets TERM itself.

sub environment {
    my (%more) = @_;
    my %env = (PATH => $ENV{PATH}, %calm, %more);
    $env{$_} //= $ENV{$_} for grep { /^(?:ASAN|UBSAN|LSAN)_OPTIONS$/ && defined $ENV{$_} } keys %ENV;
    return %env;
}

# run(args..., {in => bytes, env => {...}}): (exit status, stdout, stderr); a signal counts as 128 + n.
sub run {
    my @args = @_;
    my $options = ref $args[-1] eq 'HASH' ? pop @args : {};
    local %ENV = environment(%{ $options->{env} // {} });
    my ($in, $out, $err) = (undef, undef, gensym);
    my $input = $options->{in} // '';
    my $input_file = File::Temp->new;
    binmode $input_file;
    print {$input_file} $input;
    close $input_file;
    open(my $from, '<', $input_file->filename) or die $!;
    my $pid = open3('<&' . fileno($from), $out, $err, program(), @args);
    my %text = (out => '', err => '');
    my $select = IO::Select->new($out, $err);
    while (my @ready = $select->can_read) {
        for my $handle (@ready) {
            my $got = sysread($handle, my $bytes, 65536);
            if (!$got) { $select->remove($handle); next }
            $text{ $handle == $out ? 'out' : 'err' } .= $bytes;
        }
    }
    waitpid($pid, 0);
    my $status = $? & 127 ? 128 + ($? & 127) : $? >> 8;
    return ($status, $text{out}, $text{err});
}

# json(args...): the decoded answer; dies with what was printed when it is none.
sub json {
    my ($status, $out, $err) = run(@_);
    my $answer = eval { decode_json($out) };
    die "no JSON (exit $status): $out$err" unless defined $answer;
    return $answer;
}

# season(file): the season that `journal demo` makes, in a new file. To judge it takes seconds, so `make check` has it done
# once, beside the program.
sub season {
    my ($file) = @_;
    my $made = dirname($program) . '/season.db';
    return copy($made, $file) if -e $made && -M $made <= -M $program;
    return (run('journal', 'demo', $file))[0] == 0;
}

# near(got, want, by, title): that two figures agree.
sub near { my ($got, $want, $by, $title) = @_; cmp_ok(abs($got - $want), '<=', $by, $title) or diag "got $got, want $want" }

# refused(title, status, pattern, args...): that a command ends with the status, prints nothing, and says why.
sub refused {
    my ($title, $expected, $pattern, @run) = @_;
    my ($status, $out, $err) = run(@run);
    is($status, $expected, "$title: exit $expected");
    is($out, '', "$title: nothing on standard output");
    like($err, $pattern, "$title: says why");
}

# golden(name, text): compares with golden/NAME; UPDATE_GOLDEN=1 writes it, to be reviewed in the diff.
sub golden {
    my ($name, $text, $title) = @_;
    my $file = dirname(__FILE__) . "/golden/$name";
    if ($ENV{UPDATE_GOLDEN}) {
        open(my $to, '>:raw', $file) or die "$file: $!";
        print {$to} $text;
        close $to;
    }
    open(my $from, '<:raw', $file) or return fail("$title: no golden file $name");
    my $expected = do { local $/; <$from> };
    is($text, $expected, $title // $name);
}

# talk_by(answer, {rows, columns, env, args, prompt}): what a person sees on a terminal. Whenever a prompt stands there,
# answer->(what appeared since the last one) gives the line to type; undef closes the terminal. A lone ^C or ^D is sent
# without a newline. Returns the screen's text and the exit status.
sub talk_by {
    my ($answer, $options) = @_;
    $options //= {};
    my $pty = IO::Pty->new;
    my $slave = $pty->slave;
    $slave->set_winsize($options->{rows} // 24, $options->{columns} // 80, 0, 0);
    my $pid = fork // die $!;
    if (!$pid) {
        %ENV = environment(%{ $options->{env} // {} });
        delete $ENV{COLUMNS};
        $SIG{$_} = 'DEFAULT' for qw(HUP INT TERM QUIT TSTP);    # a job in the background is begun without some
        $pty->make_slave_controlling_terminal;
        close $pty;
        open(STDIN, '<&', $slave); open(STDOUT, '>&', $slave); open(STDERR, '>&', $slave);
        exec(program(), @{ $options->{args} // [] }) or POSIX::_exit(127);
    }
    close $slave;
    my ($seen, $from) = ('', 0);
    my $prompt = $options->{prompt} // qr/(?:\A|[\r\n])(?:\e\[[0-9;?]*[a-zA-Z])*(?:> |\(Enter for more\) )\z/;
    my $select = IO::Select->new($pty);
    while ($select->can_read($options->{patience} // 20)) {
        my $got = sysread($pty, my $bytes, 65536);
        last unless $got;
        $seen .= $bytes;
        next unless substr($seen, $from) =~ $prompt;
        my $page = substr($seen, $from) =~ s/\r\n/\n/gr;
        $from = length $seen;
        my $line = $answer->($page);
        last unless defined $line;
        syswrite($pty, $line =~ /^[\cC\cD]$/ ? $line : "$line\r");
    }
    close $pty;
    waitpid($pid, 0);
    my $status = $? & 127 ? 128 + ($? & 127) : $? >> 8;
    $seen =~ s/\r\n/\n/g;
    return ($seen, $status);
}

# talk(lines, options): the same with a fixed list of lines, and Enter between pages; when they run out, ^D.
sub talk {
    my ($lines, $options) = @_;
    my @lines = @$lines;
    return talk_by(sub {
        my ($page) = @_;
        return '' if $page =~ /\(Enter for more\) \z/;
        return @lines ? shift @lines : "\cD";
    }, $options);
}

1;
