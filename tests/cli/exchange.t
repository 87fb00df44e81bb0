#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# The journal out as CSV and in again, backed up, restored and looked over. Every record is invented.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use Jarside;
use Test::More;

my $scratch = scratch();
my @tables = qw(starter lot cook session place batch vessel parent look event outcome edit);

sub slurp { open(my $from, '<:raw', $_[0]) or return undef; local $/; return scalar <$from> }
sub spew { my ($file, $bytes) = @_; open(my $to, '>:raw', $file) or die "$file: $!"; print {$to} $bytes; close $to }
sub journal { my ($name, @args) = @_; return run(@args, '--journal', "$scratch/$name.db", { env => { JARSIDE_NOW => '2026-03-20T18:00:00+01:00' } }) }

my %csv = (
    place => "id,label,celsius,note\r\n1,closet,24,\r\n2,attic,19.5,\"'=warm \"\"corner\"\"\"\r\n",
    cook  => "id,label,cooker,method,gauge,minutes,altitude,air,load,facts,at,note\r\n"
        . "1,C1,big,,103.4,150,300,,,,2026-02-27T10:00:00+01:00,\r\n",
    starter => "id,label,species,kind,source,made,note\r\n1,S1,oyster,,a friend,2026-02-01T12:00:00+01:00,\r\n"
        . "2,S2,oyster,,,2026-03-15T12:00:00+01:00,\r\n",
    parent => "id,starter,parent,vessel\r\n1,S2,,B1-1\r\n", # grain to grain: it comes after the vessel
    batch => "id,label,at,species,starter,lot,cook,session,dry,water,inoculum,unit,soak,purpose,facts,note,by\r\n"
        . "1,B1,2026-03-01T12:00:00+01:00,oyster,S1,,C1,,,,4,ml,,,,,K\r\n",
    vessel => "id,label,batch,number,kind,grams,place,position,lid,bag,spot,sequence,control,note,due,due_for\r\n"
        . "1,B1-1,B1,1,,900,closet,,foil,M1,left,1,no,,2026-03-22,shake\r\n2,B1-2,B1,2,,900,closet,,,,,,no,,,\r\n"
        . "3,B1-3,B1,3,,900,attic,,,,,,yes,\"never, ever\",2026-03-25,\r\n",
    look => "id,vessel,at,words,facts,coverage,action,next_step,forced_by,finding,status,contaminated,posterior,rules,program,corrects,by\r\n"
        . "1,B1-1,2026-03-06T18:00:00+01:00,white threads,[],20,keep,wait,,healthy_growth,clean,0.02,{},,,,\"K, Ann\"\r\n"
        . "2,B1-2,2026-03-06T18:01:00+01:00,green spot,,,discard,,,green_mould,contaminated,0.97,,,,,\r\n",
);
mkdir "$scratch/in";
spew("$scratch/in/$_.csv", $csv{$_}) for keys %csv;

subtest 'in, out, and the same to the byte' => sub {
    my ($status, $out, $err) = journal(first => 'import', "$scratch/in");
    is($status, 0, 'imported') or diag $err;
    like($out, qr/^vessel +3 added$/m, 'says what was added');
    ($status, $out, $err) = journal(first => 'export', "$scratch/out");
    is($status, 0, 'exported') or diag $err;
    is(slurp("$scratch/out/$_.csv"), $csv{$_}, "$_.csv is what went in") for sort keys %csv;
    ($status) = journal(second => 'import', "$scratch/out");
    is($status, 0, 'imported into an empty journal');
    ($status) = journal(second => 'export', "$scratch/again");
    is(slurp("$scratch/again/$_.csv"), slurp("$scratch/out/$_.csv"), "$_.csv again") for @tables;
    is((stat "$scratch/out/look.csv")[2] & 07777, 0600, 'a file only its owner reads');
    is((stat "$scratch/out")[2] & 07777, 0700, 'and a folder likewise');
    is_deeply([grep { !/\.csv$/ } map { s{.*/}{}r } glob("$scratch/out/* $scratch/out/.[a-z]*")], [], 'nothing else lies there');
};

subtest 'one table' => sub {
    my ($status, $out) = journal(first => 'export', '--table', 'vessel');
    is($status, 0, 'to standard output');
    is($out, $csv{vessel}, 'as in the file');
    my (undef, undef, $err) = journal(first => 'export', '--table', 'vesel');
    like($err, qr/did you mean 'vessel'/, 'a slip is told');
    spew("$scratch/more.csv", "label,celsius\r\ncellar,12\r\n");
    ($status, undef, $err) = journal(first => 'import', "$scratch/more.csv");
    is($status, 2, 'a file named after no table');
    like($err, qr/--table/, 'says how to name it');
    ($status) = journal(second => 'import', '--table', 'place', "$scratch/more.csv");
    is($status, 0, 'and is then imported');
};

subtest 'conflicts' => sub {
    spew("$scratch/place.csv", "id,label,celsius,note\r\n1,closet,25,\r\n5,cellar,x,\r\n6,loft,18,\r\n");
    my ($status, $out, $err) = journal(first => 'import', "$scratch/place.csv");
    is($status, 65, 'are refused');
    like($err, qr{place\.csv:2:10: error: place 'closet' differs, in the journal \| in the file: celsius '24' \| '25'}, 'with what is there');
    like($err, qr{place\.csv:3:10: error: .*number}, 'and all at once');
    like($err, qr/2 rows refused, so nothing was imported/, 'all or nothing');
    (undef, $out) = journal(first => 'export', '--table', 'place');
    unlike($out, qr/loft/, 'indeed nothing');
};

subtest 'a rehearsal' => sub {
    my ($status, $out) = journal(none => 'import', '--dry-run', "$scratch/in");
    is($status, 0, 'goes through without a journal');
    like($out, qr/^vessel +3 added$/m, 'tells what would be');
    like($out, qr/dry run/, 'and what it was');
    ok(!-e "$scratch/none.db", 'and leaves none behind');
    ($status) = journal(none => 'import', "$scratch/nowhere");
    is($status, 74, 'a folder that is not there');
    ok(!-e "$scratch/none.db", 'begins no journal');
    my $answer = json('import', '--json', '--dry-run', "$scratch/in", '--journal', "$scratch/first.db");
    is($answer->{tables}{vessel}{same}, 3, 'as JSON');
};

subtest 'backup and restore' => sub {
    my ($status, $out, $err) = journal(first => 'backup', "$scratch/b.db");
    is($status, 0, 'a backup') or diag $err;
    is((stat "$scratch/b.db")[2] & 07777, 0600, 'only its owner reads it');
    ok(!-e "$scratch/b.db-wal" && !-e "$scratch/b.db-shm", 'is one file');
    ($status, undef, $err) = journal(first => 'backup', "$scratch/b.db");
    is($status, 74, 'is not replaced');
    like($err, qr/--force/, 'unless told to');
    ($status) = journal(first => 'backup', '--force', "$scratch/b.db");
    is($status, 0, 'as here');
    ($status) = journal(first => 'backup', "$scratch/first.db");
    is($status, 2, 'the journal is no place for its backup');
    journal(first => 'import', '--table', 'place', "$scratch/more.csv");
    (undef, $out) = journal(first => 'export', '--table', 'place');
    like($out, qr/cellar/, 'the journal goes on');
    ($status, $out, $err) = journal(first => 'restore', "$scratch/b.db");
    is($status, 0, 'and back') or diag $err;
    my ($kept) = $out =~ /kept\s+as\s+(\S+)\.$/m;
    is($kept, "$scratch/first.db.2026-03-20-180000", 'the journal of before is kept under its date');
    (undef, $out) = journal(first => 'export', '--table', 'place');
    is($out, $csv{place}, 'what was backed up is there again');
    (undef, $out) = run('export', '--table', 'place', '--journal', $kept);
    like($out, qr/cellar/, 'what was there before is there still');
    ($status) = journal(fresh => 'restore', "$scratch/b.db");
    is($status, 0, 'into nothing');
    (undef, $out) = journal(fresh => 'export', '--table', 'vessel');
    is($out, $csv{vessel}, 'is a journal');
};

subtest 'what is no backup' => sub {
    my $before = slurp("$scratch/first.db");
    spew("$scratch/text.db", "hello\n" x 1000);
    spew("$scratch/half.db", substr(slurp("$scratch/b.db"), 0, 30000));
    my $holed = slurp("$scratch/b.db");
    substr($holed, 8192, 64) = 'X' x 64;
    spew("$scratch/holed.db", $holed);
    my $newer = slurp("$scratch/b.db");
    substr($newer, 60, 4) = pack('N', 99);    # user_version (the SQLite file format, 1.3.15)
    spew("$scratch/newer.db", $newer);
    my $foreign = slurp("$scratch/b.db");
    substr($foreign, 68, 4) = pack('N', 7);    # application_id (1.3.17)
    spew("$scratch/foreign.db", $foreign);
    for my $case ([text => qr/not a backup/], [half => qr/damaged/], [holed => qr/damaged/], [newer => qr/newer/], [foreign => qr/not a Jarside journal/]) {
        my ($name, $says) = @$case;
        my $bytes = slurp("$scratch/$name.db");
        my ($status, $out, $err) = journal(first => 'restore', "$scratch/$name.db");
        is($status, 65, "$name is refused");
        like($err, $says, 'and told why');
        is(slurp("$scratch/$name.db"), $bytes, 'it is left as it is');
        is(slurp("$scratch/first.db"), $before, 'and so is the journal');
    }
    my ($status, undef, $err) = journal(first => 'restore', "$scratch/missing.db");
    is($status, 74, 'a file that is not there');
    is_deeply([grep { !-d } glob("$scratch/.[a-z]*")], [], 'nothing half-made lies about');
};

subtest 'a damaged journal' => sub {
    my $holed = slurp("$scratch/holed.db");
    spew("$scratch/broken.db", $holed);
    my ($status, $out) = journal(broken => 'journal', 'check');
    is($status, 1, 'the check fails');
    like($out, qr/the file is damaged.*jarside restore/s, 'and says what to do');
    is(slurp("$scratch/broken.db"), $holed, 'it is left as it is');
    ($status) = journal(broken => 'backup', "$scratch/never.db");
    is($status, 65, 'no backup is made of it');
    ok(!-e "$scratch/never.db", 'none');
    ($status, $out) = journal(broken => 'restore', "$scratch/b.db");
    is($status, 0, 'a backup takes its place');
    my ($kept) = $out =~ /kept\s+as\s+(\S+)\.$/m;
    is(slurp($kept), $holed, 'the damaged file is kept as it was');
    ($status) = journal(broken => 'journal', 'check');
    is($status, 0, 'and all is well again');
};

subtest 'a journal looked over' => sub {
    my ($status, $out) = journal(first => 'journal', 'check');
    is($status, 0, 'a sound one') or diag $out;
    spew("$scratch/batch.csv", $csv{batch} =~ s/2026-03-01/2026-03-10/r =~ s/B1/B9/gr =~ s/^1,/9,/mr);
    spew("$scratch/vessel.csv", $csv{vessel} =~ s/B1/B9/gr =~ s/2026-03-\d\d,/,/gr =~ s/^(\d),/1$1,/mgr);
    spew("$scratch/look.csv", $csv{look} =~ s/B1/B9/gr =~ s/\[\]/[1,/r =~ s/healthy_growth/moon_growth/r =~ s/^(\d),/1$1,/mgr =~ s/\[1,/"[1,"/r);
    for my $table (qw(batch vessel)) {
        my (undef, undef, $err) = journal(first => 'import', "$scratch/$table.csv");
        is($err, '', "$table goes in");
    }
    (undef, undef, my $early) = journal(first => 'import', "$scratch/look.csv");
    like($early, qr/look\.csv:2:1: error: B9-1 was looked at before it was inoculated/, 'a look before its time does not');
    spew("$scratch/look.csv", slurp("$scratch/look.csv") =~ s/2026-03-06/2026-03-12/gr);
    (undef, undef, my $fine) = journal(first => 'import', "$scratch/look.csv");
    is($fine, '', 'in its time it does');
    ($status, $out) = journal(first => 'journal', 'check');
    is($status, 1, 'one that is not');
    like($out, qr/look 11: 'facts' does not parse/, 'notes that do not parse');
    like($out, qr/warning: look 11: 'finding' is 'moon_growth'/, 'a word the rules do not know is a warning');
    my $answer = json('journal', 'check', '--json', '--journal', "$scratch/first.db");
    is($answer->{schema}, 1, 'as JSON');
    is($answer->{errors}, scalar(grep { $_->{kind} eq 'error' } @{ $answer->{faults} }), 'with every fault');
};

subtest 'nothing steers the terminal' => sub {
    spew("$scratch/place.csv", "label,note\r\n\"\e[31mred\e]0;owned\a\",x\r\n\"\xe2\x80\xaegnp\",<b>\r\n\"'=1+1\",\"Robert'); DROP TABLE place;--\"\r\n");
    my ($status, $out, $err) = journal(hostile => 'import', "$scratch/place.csv");
    is($status, 0, 'whatever a label holds') or diag $err;
    ($status, $out) = journal(hostile => 'export', '--table', 'place');
    like($out, qr/'=1\+1/, 'a formula stays guarded');
    like($out, qr/\e\[31mred/, 'the file holds it exactly');
    spew("$scratch/place.csv", "label,note\r\n\"\e[31mred\e]0;owned\a\",y\e[2J\r\n");
    ($status, $out, $err) = journal(hostile => 'import', "$scratch/place.csv");
    is($status, 65, 'a conflict about it');
    unlike($out . $err, qr/[\x00-\x08\x0b-\x1f\x7f]/, 'is told without control characters');
};

done_testing;
