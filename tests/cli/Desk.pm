# SPDX-License-Identifier: GPL-3.0-or-later
# A desk with a small journal and files on it, invented, and what an act on it leaves behind when the machine is faulty:
# the answer whole or none, the journal sound and all of the act in it or nothing, no file half written.
package Desk;

use strict;
use warnings;
use Cwd qw(abs_path);
use Exporter 'import';
use Faulty;
use File::Find ();
use File::Path qw(remove_tree);
use File::Temp ();
use Jarside;
use Test::More;

our @EXPORT = qw($desk $kept %env lay_out set_desk outcome good_outcome objection title);

# A disk would have to be waited for at every act.
my $scratch = -w '/dev/shm' ? File::Temp::tempdir(DIR => '/dev/shm', CLEANUP => 1) : scratch();
our $desk   = "$scratch/desk";    # where acts find their files and leave them
our $kept   = "$scratch/kept";    # the same before any act
our %env    = (JARSIDE_NOW => '2026-03-20T18:00:00Z', JARSIDE_RULES => abs_path(project_root() . '/tests/unit/tiny-rules'),
    JARSIDE_JOURNAL => "$desk/j.db", XDG_CONFIG_HOME => "$desk/config");

sub slurp { my ($file) = @_; open(my $from, '<:raw', $file) or return undef; local $/; return scalar <$from> }
sub spew { my ($file, $bytes) = @_; open(my $to, '>:raw', $file) or die "$file: $!"; print {$to} $bytes; close $to }
sub plainly { my @args = @_; my $more = ref $args[-1] eq 'HASH' ? pop @args : {}; return run(@args, { %$more, env => \%env }) }

# What lies on a desk: path to bytes. SQLite's own files come and go.
sub everything {
    my ($folder) = @_;
    my %found;
    File::Find::find({ no_chdir => 1, wanted => sub { $found{ substr $_, length $folder } = -d $_ ? 'folder' : slurp($_) unless /-(?:wal|shm)\z/ } }, $folder);
    return \%found;
}

sub lay_out { remove_tree($desk); system('cp', '-R', $kept, $desk) == 0 or die 'cp' }

my $kept_tables;

# Lays everything there is on the desk, once.
sub set_desk {
    mkdir $desk;
    mkdir "$desk/in";
    mkdir "$desk/more";
    my (@batches, @vessels);
    for my $batch (1 .. 4) {
        push @batches, "B$batch,2026-03-0${batch}T12:00:00Z,amber,S" . ($batch % 2 + 1) . ",C$batch,broth,ml\r\n" =~ s/,broth//r;
        push @vessels, map {"B$batch-$_,B$batch,$_,pot,closet,2026-03-22,shake\r\n"} 1 .. 6;
    }
    spew("$desk/in/place.csv", "label,celsius\r\ncloset,24\r\nattic,19\r\n");
    spew("$desk/in/starter.csv", "label,species,kind\r\nS1,amber,broth\r\nS2,amber,broth\r\n");
    spew("$desk/in/cook.csv", "label,gauge,minutes,at\r\n" . join '', map {"C$_,103.4,150,2026-02-27T10:00:00Z\r\n"} 1 .. 4);
    spew("$desk/in/batch.csv", "label,at,species,starter,cook,unit\r\n" . join '', @batches);
    spew("$desk/in/vessel.csv", "label,batch,number,kind,place,due,due_for\r\n" . join '', @vessels);
    spew("$desk/more/batch.csv", "label,at\r\nB9,2026-03-11T12:00:00Z\r\n");
    spew("$desk/more/vessel.csv", "label,batch,number,note\r\nB9-1,B9,1,\"new, and noted\"\r\n");
    spew("$desk/sheet.csv", "Run,No,Date,Result,Seen,Notes\nR1,1,2026-03-01,fine,2026-03-12,\nR1,2,2026-03-01,gone red,2026-03-09,odd\n");
    spew("$desk/map.yaml", <<~'YAML');
    columns: {batch: Run, number: No, inoculated: Date, result: Result, ended: Seen, note: Notes}
    same: {species: amber}
    values:
      result:
        fine: used
        gone red: crust discarded
    YAML
    spew("$desk/table.csv", "vessel,lost,cook,starter,shelf,batch,started,ended\n" . join '', map {
            "v$_," . ($_ % 6 < 3 && $_ < 24 ? 'yes' : 'no') . ',K' . int($_ / 6) . ",S@{[$_ % 3]},h@{[$_ % 4]},B" . int($_ / 12) . ",2026-03-01,2026-03-@{[10 + $_ % 9]}\n" } 0 .. 59);
    for my $act ([ 'import', "$desk/in" ], [ qw(look B1-1), 'red rough day 9', qw(--at 2026-03-10) ], [ qw(look B1), 'all fine except 1 and 2: red', qw(--at 2026-03-11) ],
        [ qw(shake B2 --at 2026-03-12) ], [ qw(discard B1-1 B2-1 --at 2026-03-13) ], [ qw(confirm B1-1 crust --at 2026-03-13) ], [ 'backup', "$desk/b.db" ]) {
        my ($status, undef, $err) = plainly(@$act);
        is($status, 0, "the desk: $act->[0]") or diag $err;
    }
    is((plainly(qw(move B3-1 attic --at 2026-03-14)))[0], 0, 'and one act that the backup does not know');
    unlink glob "$desk/*-{wal,shm}";
    rename $desk, $kept or die $!;
    $kept_tables = tables($kept);
    return;
}

# A journal as the tables it is exported to; undef when it is not sound.
sub tables {
    my ($folder) = @_;
    my @journal = ('--journal', "$folder/j.db");
    remove_tree("$scratch/out");
    return undef if (plainly('journal', 'check', @journal))[0] > 1;
    return undef if (plainly('export', "$scratch/out", @journal))[0] != 0;
    my $tables = everything("$scratch/out");
    return join '', map {"$_\n$tables->{$_}"} sort keys %$tables;
}

# What an act does when nothing fails.
sub outcome {
    my ($act, $faults) = @_;
    lay_out();
    my ($status, $out, $err) = try_out($faults // {}, @$act, { env => \%env });
    return { status => $status, out => $out, err => $err, desk => everything($desk) };
}

# Of the journal only what it says counts; SQLite may lay the same out otherwise.
sub files { my ($desk) = @_; return join "\n", map { "$_ " . (/\.db/ ? 'a journal' : $desk->{$_}) } sort keys %$desk }

sub changed { my ($desk) = @_; return -s "$desk/j.db-wal" || slurp("$desk/j.db") ne slurp("$kept/j.db") }

# What is wrong with an outcome, given the one without a fault; nothing when it is orderly.
sub objection {
    my ($good, $got, $cause) = @_;
    return 'hung' if $got->{status} eq 'hung';
    my $done = $got->{status} eq $good->{status};
    if (!$done) {
        return "exit $got->{status}" unless $got->{status} =~ /^(?:70|74)$/ || ($got->{status} eq 65 && $got->{err} =~ /damaged|$cause/);
        return "no word of it: $got->{err}" unless $got->{err} =~ /$cause/i;
    } elsif ($got->{out} ne $good->{out}) {
        return 'another answer, told as whole';
    }
    my $tables = changed($desk) ? tables($desk) : $kept_tables;
    return 'a journal that is no longer sound' unless defined $tables;
    return 'said to be done' if $done && $tables ne $good->{tables};
    return 'half of it' if $tables ne $good->{tables} && $tables ne $kept_tables;
    my $files = files($got->{desk});
    return if $files eq $good->{files};
    return 'files missing' if $done;
    # An act that is in the journal may have done with its files, too, before it failed to say so.
    my @strange = grep { !exists $good->{all}{$_} && !m{/j\.db} } keys %{ $got->{desk} };
    return "left behind: @strange" if @strange;
    my @half = grep { !/\.db/ && $got->{desk}{$_} ne ($good->{all}{$_} // '') && $got->{desk}{$_} ne ($good->{before}{$_} // '') } keys %{ $got->{desk} };
    return @half ? "half written: @half" : undef;
}

sub good_outcome {
    my ($act) = @_;
    my $good = outcome($act);
    $good->{tables} = changed($desk) ? tables($desk) : $kept_tables;
    $good->{files}  = files($good->{desk});
    $good->{all}    = $good->{desk};
    $good->{before} = everything($kept);
    return $good;
}

sub title { my ($act) = @_; return join(' ', map { m{^\Q$scratch\E} ? s{.*/}{}r : $_ } @$act) }

1;
