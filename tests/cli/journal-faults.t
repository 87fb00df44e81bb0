#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# A disk that is full, folders and files that may not be written or read: a message, exit 74, nothing half-written.
# Every record is invented.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use Cwd qw(abs_path);
use Jarside;
use Test::More;

my $scratch = scratch();
chmod 0777, $scratch;
my $program = abs_path($ENV{JARSIDE} // project_root() . '/.build/release/jarside');

sub slurp { open(my $from, '<:raw', $_[0]) or return undef; local $/; return scalar <$from> }
sub spew { my ($file, $bytes) = @_; open(my $to, '>:raw', $file) or die "$file: $!"; print {$to} $bytes; close $to; chmod 0666, $file }

# A journal big enough that its copies do not fit where little fits.
mkdir "$scratch/in", 0777;
spew("$scratch/in/place.csv", "label,note\r\n" . join('', map { "P$_," . 'x' x 1000 . "\r\n" } 1 .. 400));
spew("$scratch/in/batch.csv", "label,at\r\nB1,2026-03-01T12:00:00Z\r\n");
spew("$scratch/in/vessel.csv", "label,batch,number,due,due_for\r\nB1-1,B1,1,2026-03-12,shake\r\n");
my @journal = ('--journal', "$scratch/j/journal.db");
mkdir "$scratch/j";
is((run('import', "$scratch/in", @journal))[0], 0, 'a journal');
is((run('backup', "$scratch/good.db", @journal))[0], 0, 'and its backup');
chmod 0666, "$scratch/good.db";
chmod 0777, "$scratch/j";
chmod 0666, "$scratch/j/journal.db";

# What lies in the folders, names and bytes.
sub everything { return { map { $_ => -d $_ ? 'folder' : slurp($_) } grep { !/-(?:shm|wal)$/ } glob("$scratch/{*,.[a-z]*,*/*,*/.[a-z]*}") } }

sub fails {
    my ($title, $says, $call) = @_;
    my $before = everything();
    my ($status, $out, $err) = $call->();
    is($status, 74, "$title: exit 74") or diag $err;
    like($err, $says, "$title: told");
    is_deeply(everything(), $before, "$title: nothing half-written, nothing lost");
}

# Nobody special: permissions mean nothing to root. The search for leaks at the end of a sanitized program
# traces its own process, which a changed user forbids: there these are left out.
# A program in root's own home is out of that user's reach, too.
sub reachable { local $) = '65534 65534'; local $> = 65534; return -x Jarside::program() }
my $no_nobody = $> == 0 && (Jarside::program() =~ m{/asan/} || !reachable());
sub as_nobody {
    my @args = @_;
    return run(@args) if $> != 0;
    local $) = "65534 65534";
    local $> = 65534;
    return run(@args);
}

sub writers {    # every command that writes a file, into a folder
    my ($folder) = @_;
    return (
        [export => 'export', "$folder/out", @journal],
        ['export of one table' => 'export', '--table', 'place', "$folder/p.csv", @journal],
        [backup => 'backup', "$folder/b.db", @journal],
        [import => 'import', "$scratch/in", '--journal', "$folder/new.db"],
        [restore => 'restore', "$scratch/good.db", '--journal', "$folder/new.db"],
    );
}

subtest 'a folder that may not be written' => sub {
    plan skip_all => 'nobody else can run the program here' if $no_nobody;
    mkdir "$scratch/closed";
    chmod 0555, "$scratch/closed";
    for my $case (writers("$scratch/closed")) {
        my ($title, @args) = @$case;
        fails($title, qr/\Q$scratch\E\/closed.*(?:[Pp]ermission|may not)/, sub { as_nobody(@args) });
    }
    chmod 0755, "$scratch/closed";
    rmdir "$scratch/closed";
};

subtest 'a folder that is not there' => sub {
    for my $case (writers("$scratch/nowhere/at/all")) {
        my ($title, @args) = @$case;
        next if $title =~ /^(?:import|restore)/;    # a journal is made with its folder
        fails($title, qr/No such file/, sub { run(@args) });
    }
};

subtest 'a folder where a file should be' => sub {
    mkdir "$scratch/folder.db";
    mkdir "$scratch/p.csv";
    fails('backup', qr/folder\.db.*[Dd]irectory/, sub { run('backup', "$scratch/folder.db", '--force', @journal) });
    fails('one table', qr/p\.csv.*[Dd]irectory/, sub { run('export', '--table', 'place', "$scratch/p.csv", '--force', @journal) });
    fails('restore', qr/folder\.db.*[Dd]irectory/, sub { run('restore', "$scratch/folder.db", @journal) });
    fails('a file where a folder should be', qr/good\.db/, sub { run('export', "$scratch/good.db", @journal) });
    rmdir "$scratch/$_" for 'folder.db', 'p.csv';
};

subtest 'what may not be read' => sub {
    plan skip_all => 'nobody else can run the program here' if $no_nobody;
    chmod 0, "$scratch/in/place.csv", "$scratch/good.db", "$scratch/j/journal.db";
    my ($status, $out, $err) = as_nobody('import', "$scratch/in", '--journal', "$scratch/j/other.db");
    is($status, 74, 'a table');
    like($err, qr/place\.csv.*Permission/, 'is named');
    ($status, $out, $err) = as_nobody('restore', "$scratch/good.db", '--journal', "$scratch/j/other.db");
    is($status, 74, 'a backup');
    like($err, qr/good\.db/, 'is named');
    ($status, $out, $err) = as_nobody('export', "$scratch/j/out", @journal);
    is($status, 74, 'a journal');
    like($err, qr/journal\.db.*Permission/, 'is named');
    ok(!-e "$scratch/j/out", 'and nothing is begun');
    chmod 0666, "$scratch/in/place.csv", "$scratch/good.db", "$scratch/j/journal.db";
    unlink glob "$scratch/j/other.db*";
};

# A limit on the size of files gives EFBIG where a full disk gives ENOSPC; both are a write that fails half-way.
sub where_little_fits {
    my @args = @_;
    local $SIG{XFSZ} = 'IGNORE';
    my $command = join ' ', map { "'$_'" } $program, @args;
    my $out = `sh -c "ulimit -f 400; exec $command" 2>&1 >/dev/null`;
    return ($? >> 8, '', $out);
}

subtest 'where little fits' => sub {
    mkdir "$scratch/little";
    for my $case (writers("$scratch/little")) {
        my ($title, @args) = @$case;
        next if $title eq 'import';
        fails($title, qr/./, sub { where_little_fits(@args) });
    }
    my ($status, undef, $err) = where_little_fits('import', "$scratch/in", '--journal', "$scratch/little/new.db");
    is($status, 74, 'import');
    like($err, qr/new\.db.*cannot write/, 'told');
    my (undef, $out) = run('export', '--table', 'batch', '--journal', "$scratch/little/new.db");
    is($out, "id,label,at,species,starter,lot,cook,session,dry,water,inoculum,unit,soak,purpose,facts,note,by\r\n", 'nothing of it is there');
    unlink glob "$scratch/little/*";
    fails('restore over a journal', qr/./, sub { where_little_fits('restore', "$scratch/good.db", @journal) });
};

subtest 'a disk that is full' => sub {
    my $mounted = "$scratch/disk";
    mkdir $mounted;
    my $try = `unshare -rm sh -c 'mount -t tmpfs -o size=300k none "$mounted" && echo yes' 2>/dev/null`;
    plan skip_all => 'no small disk can be made here' unless $try eq "yes\n";
    for my $case (writers($mounted)) {
        my ($title, @args) = @$case;
        my $command = join ' ', map { "\"$_\"" } $program, @args;
        my $out = `unshare -rm sh -c 'mount -t tmpfs -o size=300k none "$mounted" && $command; echo "exit \$?"; ls -A "$mounted"' 2>&1`;
        like($out, qr/exit 74/, "$title: exit 74") or diag $out;
        like($out, qr/[Nn]o space|disk/, "$title: told");
        like($out, qr/exit 74\n(?:new\.db(?:-shm|-wal)?\n)*\z/, "$title: nothing half-written");
    }
};

SKIP: {
    skip 'no /dev/full', 2 unless -c '/dev/full';
    my $err = `'$program' export --table place @journal 2>&1 >/dev/full`;
    is($? >> 8, 74, 'standard output on a full disk');
    like($err, qr/cannot be written|cannot write/, 'told');
}

is((run('journal', 'check', @journal))[0], 0, 'after all this the journal is sound');

done_testing;
