#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# Nothing in the data is ever taken for a path or a command: the program opens what it was told to on its command line,
# the rules, the journal and what SQLite keeps beside it, and calls no other program. What it makes, only its owner reads,
# and a link that somebody laid where a file is to go is not followed. tests/support/witness.c sees every opening.
# Every record is invented.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use Cwd qw(abs_path);
use Jarside;
use Test::More;

plan skip_all => 'the witness stands before the memory of a sanitizer' if Jarside::program() =~ m{/\.build/asan/};
my $scratch = abs_path(scratch());
my $witness = "$scratch/witness.so";
my $root    = abs_path(project_root());
is(system(($ENV{CC} // 'cc') . " -O1 -w -fPIC -shared -o '$witness' '$root/tests/support/witness.c'"), 0, 'there is a witness') or BAIL_OUT('none');

sub slurp { my ($file) = @_; open(my $from, '<:raw', $file) or return undef; local $/; return scalar <$from> }
sub spew { my ($file, $bytes) = @_; open(my $to, '>:raw', $file) or die "$file: $!"; print {$to} $bytes; close $to; return $file }

# What the program must never touch, and the words that lead there.
mkdir "$scratch/$_" for qw(bait desk desk/in desk/rules desk/config);
spew("$scratch/bait/$_", "label\r\nbait\r\n") for qw(absolute relative.csv place.csv rules.yaml ran);
my @bait = ("$scratch/bait/absolute", '../bait/relative.csv', "file://$scratch/bait/absolute", "$scratch/bait/place.csv", "| touch $scratch/bait/ran2",
    "\$(touch $scratch/bait/ran2)", "`touch $scratch/bait/ran2`", "; touch $scratch/bait/ran2 ;", "\@$scratch/bait/absolute", "< $scratch/bait/absolute",
    "=IMPORTDATA(\"$scratch/bait/absolute\")", 'place.csv', '/etc/passwd', '~/.profile');

# Openings outside of what is allowed, and calls.
sub seen {
    my ($allowed, @args) = @_;
    my $options = ref $args[-1] eq 'HASH' ? pop @args : {};
    unlink "$scratch/seen";
    my ($status, $out, $err) = run(@args, { %$options, env => { WITNESS => "$scratch/seen", LD_PRELOAD => $witness, JARSIDE_RULES => "$scratch/desk/rules",
                JARSIDE_NOW => '2026-03-20T18:00:00Z', XDG_CONFIG_HOME => "$scratch/desk/config", HOME => "$scratch/desk", %{ $options->{env} // {} } } });
    my @lines = grep { !/\.gcda\z/ } split /\n/, slurp("$scratch/seen") // '';    # what gcov keeps of a build that counts its lines
    # A file, what SQLite keeps beside it, what lies in a folder that is named with a slash behind it, a name begun with a dot.
    # What it makes of its own has no name yet, and is opened again by its descriptor.
    @lines = grep { !m{^open /proc/self/fd/\d+\z} } @lines;
    my @strange = grep { my $line = $_; !grep { $line =~ m{^open \Q$_\E(?:-wal|-shm|-journal|/|(?<=[/.]).*)?\z} } @$allowed } @lines;
    return ($status, "@strange", scalar @lines, $out . $err);
}

# Rules like the shipped ones, and one more file that speaks of paths wherever words may stand.
system('cp', '-R', "$root/tests/unit/tiny-rules/.", "$scratch/desk/rules") == 0 or die 'cp';
my $yaml = sub { my ($text) = @_; return q(') . ($text =~ s/'/''/gr) . q(') };
spew("$scratch/desk/rules/more.yaml", "sources:\n  bait:\n    author: " . $yaml->($bait[0]) . "\n    title: " . $yaml->($bait[1]) . "\n    year: 2001\n    where: " . $yaml->($bait[5]) . "\n"
        . "cautions:\n" . join '', map { "  bait_$_:\n    text: " . $yaml->($bait[$_]) . "\n    rank: 20\n    always: true\n    source: bait\n" } 0 .. $#bait);
my $word = sub { my ($i) = @_; return $bait[ $i % @bait ] };
my $cell = sub { my ($text) = @_; return '"' . ($text =~ s/"/""/gr) . '"' };
spew("$scratch/desk/in/place.csv", "label,celsius,note\r\n" . join '', map { $cell->($bait[$_]) . ',20,' . $cell->($word->($_ + 1)) . "\r\n" } 0 .. $#bait);
spew("$scratch/desk/in/starter.csv", "label,species,source,note\r\n" . join '', map { $cell->("S $bait[$_]") . ',amber,' . $cell->($bait[$_]) . ',' . $cell->($bait[$_]) . "\r\n" } 0 .. $#bait);
spew("$scratch/desk/in/batch.csv", "label,at,starter,purpose,note\r\n" . join '', map { $cell->("B $bait[$_]") . ',2026-03-01T12:00:00Z,' . $cell->("S $bait[$_]") . ',' . ',' . $cell->($bait[$_]) . "\r\n" } 0 .. $#bait);
spew("$scratch/desk/in/vessel.csv", "label,batch,number,place,note,due,due_for\r\n" . join '', map { "V$_," . $cell->("B $bait[$_]") . ',1,' . $cell->($bait[$_]) . ',' . $cell->($bait[$_]) . ",2026-03-22,shake\r\n" } 0 .. $#bait);
spew("$scratch/desk/sheet.csv", "Run,No,Date,Result,Seen,Notes,Shelf\n" . join '', map { "R$_,1,2026-03-01,fine,2026-03-09," . $cell->($bait[$_]) . ',' . $cell->($bait[$_]) . "\n" } 0 .. $#bait);
spew("$scratch/desk/map.yaml", "columns: {batch: Run, number: No, inoculated: Date, result: Result, ended: Seen, note: Notes, place: Shelf}\nsame: {species: amber}\nvalues:\n  result:\n    fine: used\n");
spew("$scratch/desk/table.csv", 'lost,cook,' . $cell->($bait[0]) . "\n" . join '', map { ($_ % 3 ? 'no' : 'yes') . ',' . $cell->($word->($_)) . ',' . $cell->($word->(int $_ / 4)) . "\n" } 0 .. 39);
spew("$scratch/desk/case.yaml", "case:\n  id: bait\n  text: " . $yaml->("red; $bait[0] $bait[5] $bait[1]") . "\n  note: " . $yaml->($bait[6]) . "\n  source: " . $yaml->($bait[0]) . "\n");
spew("$scratch/desk/probe.csv", "minutes,temperature_C," . $cell->($bait[0]) . "\n" . join '', map {"$_,@{[20 + $_]}," . $cell->($word->($_)) . "\n"} 0 .. 90);

# The rules and the journal always; the C library and readline look for the terminal.
my $desk    = "$scratch/desk";
# The folders above the journal are made where they are not, and written through.
my @always  = ("$desk/rules", "$desk/rules/", "$desk/config/jarside/rules", "$desk/j.db", $desk, '/dev/urandom', '/etc/localtime',
    map { my $at = $desk; $at =~ s{(?:/[^/]*){$_}\z}{}; length $at ? $at : () } 1 .. 8);
my @journal = ('--journal', "$desk/j.db");
my $said    = "red dusty. $bait[0] and $bait[5] $bait[6] $bait[1]";
my @acts    = (    # what they may open besides, and what they are
    [ [ "$desk/in", "$desk/in/" ], 'import', "$desk/in", @journal ],
    [ [ "$desk/sheet.csv", "$desk/map.yaml", "$desk/k.db" ], 'import', "$desk/sheet.csv", '--map', "$desk/map.yaml", '--journal', "$desk/k.db" ],
    [ [ "$desk/sheet.csv" ], 'import', "$desk/sheet.csv", '--guess', @journal ],
    [ [], 'look', 'V1', $said, @journal ], [ [], 'judge', '--explain', $said ], [ [], 'judge', '--json', 'red dusty', @bait ], [ [], 'judge', '--vessel', 'V2', $said, @journal ],
    [ [], qw(judge --lines), { in => join "\n", @bait } ], [ [], 'ask', { in => join "\n", $said, @bait, 'verdict' } ],
    [ [ "$desk/case.yaml" ], 'judge', '--case', "$desk/case.yaml" ], [ [ "$desk/probe.csv" ], 'cook', '--probe', "$desk/probe.csv" ],
    [ [], qw(shake V3), '--note', $bait[5], @journal ], [ [], 'move', 'V3', $bait[1], @journal ], [ [], 'confirm', 'V1', 'crust', '--how', $bait[6], @journal ],
    [ [], 'record', 'place', 'P1', "note=$bait[0]", @journal ],
    [ [], qw(list --json), @journal ], [ [], qw(list vessels), @journal ], [ [], 'history', 'V1', @journal ], [ [], 'search', $bait[0], $bait[5], @journal ],
    [ [], 'due', @journal ], [ [], qw(due --ics -), @journal ], [ ["$desk/d.html", "$desk/.d.html."], 'due', '--html', "$desk/d.html", @journal ],
    [ [], 'labels', 'V1', @journal ], [ [ "$desk/out/", "$desk/out" ], 'export', "$desk/out", @journal ], [ [ "$desk/b.db", "$desk/.b.db." ], 'backup', "$desk/b.db", @journal ],
    [ [], qw(journal check), @journal ], [ [], 'review', @journal ], [ [ "$desk/table.csv" ], 'review', '--details', '--csv', "$desk/table.csv" ],
    [ [ "$desk/table.csv", "$desk/r.html", "$desk/.r.html." ], 'review', '--html', "$desk/r.html", '--csv', "$desk/table.csv" ],
    [ [], 'rules', 'check' ], [ [], 'show' ],
    [ [ "$desk/b.db", "$desk/.j.db.", "$desk/j.db." ], 'restore', "$desk/b.db", @journal ],
);
for my $act (@acts) {
    my ($more, @args) = @$act;
    my $title = join ' ', grep { !m{/} && !ref } @args;
    my ($status, $strange, $count, $said) = seen([ @always, @$more ], @args);
    cmp_ok($status, '<', 2, "$title: done") or diag $said;
    cmp_ok($count, '>', 3, "$title: and seen");
    is($strange, '', "$title: nothing but what was named");
}
ok(!-e "$scratch/bait/ran2", 'no words ran');
my @loose = grep { -f && ((stat)[2] & 07777) != 0600 && !m{/(?:sheet|table|probe)\.csv$|\.yaml$|/in/|/rules/} } glob "$desk/* $desk/out/* $desk/.[a-z]*";
is("@loose", '', 'what was made, only its owner reads');
is((stat "$desk/out")[2] & 07777, 0700, 'a folder likewise') or diag $desk;

# While it is open, too: what SQLite keeps beside the journal.
subtest 'beside the journal' => sub {
    pipe(my $reader, my $writer) or die $!;
    my $pid = fork // die $!;
    if (!$pid) {
        %ENV = Jarside::environment(JARSIDE_RULES => "$desk/rules");
        open(STDIN, '<&', $reader); open(STDOUT, '>', '/dev/null'); open(STDERR, '>', '/dev/null');
        close $writer;
        exec(Jarside::program(), qw(judge --vessel V2 -), @journal) or POSIX::_exit(127);
    }
    close $reader;
    my @beside;
    for (1 .. 300) { @beside = glob "$desk/j.db-*"; last if @beside; select undef, undef, undef, 0.1 }
    is(join(' ', map { sprintf '%o', (stat)[2] & 07777 } grep { -e } @beside), join(' ', ('600') x grep { -e } @beside), 'only its owner reads it') if @beside;
    syswrite($writer, 'red');
    close $writer;
    waitpid($pid, 0);
    is($? >> 8, 0, 'and it ends well');
};

# Somebody with a folder in common lays a link, or a file of another's, where the program is to write.
subtest 'links where files go' => sub {
    my $target = spew("$scratch/bait/target", "another's\n");
    my %writes = (
        'export DIR'        => [ "$desk/links/vessel.csv", 'export', "$desk/links", @journal ],
        'export --table'    => [ "$desk/links/v.csv", qw(export --table vessel), "$desk/links/v.csv", @journal ],
        'backup'            => [ "$desk/links/b.db", 'backup', "$desk/links/b.db", @journal ],
        'due --ics'         => [ "$desk/links/d.ics", qw(due --ics), "$desk/links/d.ics", @journal ],
        'review --html'     => [ "$desk/links/r.html", 'review', '--html', "$desk/links/r.html", '--csv', "$desk/table.csv" ],
        'due --html'        => [ "$desk/links/d.html", qw(due --html), "$desk/links/d.html", @journal ],
        'labels --html'     => [ "$desk/links/l.html", qw(labels V1 --html), "$desk/links/l.html", @journal ],
    );
    for my $title (sort keys %writes) {
        my ($file, @args) = @{ $writes{$title} };
        for my $force ([], ['--force']) {
            for my $to ($target, "$scratch/bait/not-there") {
                system('rm', '-rf', "$desk/links");
                mkdir "$desk/links";
                symlink $to, $file or die $!;
                my ($status, $strange) = seen([ @always, "$desk/links", "$desk/links/", "$desk/table.csv" ], @args, @$force);
                my $with = "$title @$force";
                is(slurp($target), "another's\n", "$with: what a link leads to is left alone");
                ok(!-e "$scratch/bait/not-there", "$with: and not made");
                is($strange, '', "$with: nor opened");
                if (@$force) {
                    ok($status == 0 && -f $file && !-l $file, "$with: a file takes the place of the link") or diag $status;
                    is((stat $file)[2] & 07777, 0600, "$with: for its owner");
                } else {
                    is($status, 74, "$with: refused");
                    ok(-l $file, "$with: the link stays");
                }
            }
        }
    }
};

# The witness would see it.
spew("$scratch/desk/named.csv", "label\r\nx\r\n");
isnt((seen([], 'import', "$desk/named.csv", '--table', 'place', @journal))[1], '', 'the witness sees what is opened');
done_testing;
