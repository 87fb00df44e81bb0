# SPDX-License-Identifier: GPL-3.0-or-later
# A machine on its last legs for tests: the program with tests/support/faulty.c before it.
package Faulty;

use strict;
use warnings;
use Exporter 'import';
use Jarside;

our @EXPORT = qw(faulty_built try_out asked places);

my $scratch = scratch();
my $faulty  = "$scratch/faulty.so";

# Builds the machine; false when there is none.
sub faulty_built {
    my $cc = $ENV{CC} // 'cc';
    return system("$cc -O1 -fPIC -shared -o '$faulty' '" . project_root() . "/tests/support/faulty.c' -lunwind") == 0;
}

# try_out(faults, args..., {in, env}): as run, on the faulty machine and by the small rules; "hung" when it does not end.
sub try_out {
    my ($faults, @args) = @_;
    my $options = ref $args[-1] eq 'HASH' ? pop @args : {};
    my %env = (LC_ALL => 'C', LD_PRELOAD => $faulty, JARSIDE_RULES => project_root() . '/tests/unit/tiny-rules',
        %{ $options->{env} // {} }, %$faults);
    my @result = eval {
        local $SIG{ALRM} = sub { die "hung\n" };
        alarm 30;
        my @result = run(@args, { %$options, env => \%env });
        alarm 0;
        @result;
    };
    alarm 0;
    return @result ? @result : ('hung', '', '');
}

# How often the program asks for memory, reads, writes and opens.
sub asked {
    my @args = @_;
    try_out({ FAULTY_REPORT => "$scratch/report" }, @args);
    return map { split } lines("$scratch/report");
}

# Where in the program memory is asked for, in the order of the first time; and how many blocks of each place are never
# given back, which is what libraries keep for good.
sub places {
    my ($how, @args) = @_;
    try_out({ %$how, FAULTY_SITES => "$scratch/sites", FAULTY_LEFT => "$scratch/left" }, @args);
    my %first = map { split } lines("$scratch/sites");
    return ([ sort { $first{$a} <=> $first{$b} } keys %first ], counts("$scratch/left"));
}

sub lines { my ($file) = @_; open(my $from, '<', $file) or return; chomp(my @lines = <$from>); return @lines }
sub counts { my ($file) = @_; my %count; $count{$_}++ for lines($file); return \%count }

1;
