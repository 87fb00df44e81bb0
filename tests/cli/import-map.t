#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# A grower's own spreadsheet, through a map, into the journal. The spreadsheets are invented.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use Jarside;
use Test::More;

my $scratch = scratch();
my $count = 0;

sub slurp { open(my $from, '<:raw', $_[0]) or return undef; local $/; return scalar <$from> }
sub spew { my ($name, $bytes) = @_; my $file = "$scratch/$name"; open(my $to, '>:raw', $file) or die "$file: $!"; print {$to} $bytes; close $to; return $file }
sub with { my ($journal, @args) = @_; return run(@args, '--journal', "$scratch/$journal.db", { env => { JARSIDE_NOW => '2026-03-20T18:00:00Z' } }) }
sub table { my ($journal, $name) = @_; my (undef, $out) = with($journal, 'export', '--table', $name); my ($head, @rows) = split /\r\n/, $out; return @rows }
sub refused { my ($title, $journal, $sheet, $map, $says, @more) = @_;
    my ($status, $out, $err) = with($journal, 'import', $sheet, '--map', $map, @more);
    is($status, 65, "$title: refused");
    like("$out$err" =~ s,\s+, ,gr, $says, "$title: told") }

my $sheet = spew('runs.csv', <<'CSV');
Run;Bag #;Date;Strain;Culture;PC run;Cook time;psi;Grain;Bag size;Shelf;What happened;Seen on;Weather;Notes
R1;1;14/02/2026;blue oyster;LC3;P7;2.5 h;15 psi;rye;quart jar;top shelf;gone green;25/02/2026;cold;
R1;2;14/02/2026;blue oyster;LC3;P7;2.5 h;15 psi;rye;quart jar;top shelf;used;09/03/2026;cold;good one
;;;;;;;;;;;;;;
R1;3;14/02/2026;blue oyster;LC3;P7;2.5 h;15 psi;rye;quart jar;bottom;sour, wet grains at the bottom;20/02/2026;;"=HYPERLINK(""x"")"
R2;1;21/02/2026;shiitake;LC4;P8;150 min;15 psi;millet;quart jar;bottom;healthy growth;12/03/2026;;
R2;2;21/02/2026;shiitake;LC4;P8;150 min;15 psi;millet;quart jar;bottom;;;;
CSV

my $map;
subtest 'a map is guessed' => sub {
    my ($status, $out, $err) = with('none', 'import', $sheet, '--guess');
    is($status, 0, 'from headings and words') or diag $err;
    golden('import-guess.yaml', $out =~ s/a guess, \d+ %/a guess, .. %/gr, 'as reviewed, however sure of it');
    ok(!-e "$scratch/none.db", 'and begins no journal');
    $map = spew('map.yaml', $out);
    my $odd = spew('odd.csv', "Run,No,Date,Result,End\nR1,1,2026-03-01,strange hum,2026-03-09\n");
    (undef, $out) = with('none', 'import', $odd, '--guess');
    like($out, qr/# "strange hum": \?   # once; say what it was/, 'what nobody knows is left to the grower');
    refused('until it is said', 'none', $odd, spew('odd.yaml', $out), qr/result is\s+'strange hum'/, '--dry-run');
};

subtest 'rehearsed, imported, and again' => sub {
    my ($status, $out, $err) = with('a', 'import', $sheet, '--map', $map, '--dry-run');
    is($status, 0, 'a rehearsal') or diag $err . $out;
    like($out, qr/^\S*runs\.csv:2:1: taken: R1-1, inoculated 2026-02-14$/m, 'tells of every row');
    like($out, qr/runs\.csv:4:1: skipped: empty/, 'also of empty ones');
    ok(!-e "$scratch/a.db", 'and leaves nothing');
    ($status, $out) = with('a', 'import', $sheet, '--map', $map);
    is($status, 0, 'in earnest');
    like($out, qr/^vessel +5 added$/m, 'the vessels');
    like($out, qr/Rows: 5 taken, 1 skipped, 0 refused/, 'the rows');
    is_deeply([map { (split /,/)[1] } table('a', 'vessel')], [qw(R1-1 R1-2 R1-3 R2-1 R2-2)], 'labelled by batch and number');
    like((table('a', 'batch'))[0], qr/^1,R1,2026-02-14T12:00:00\+00:00,oyster,LC3,,P7,.*,grain=rye,,$/, 'the batch, in our words');
    like((table('a', 'cook'))[0], qr/,103\.42\d*,150,/, 'pressure in kPa, minutes');
    is(scalar(table('a', 'place')), 2, 'two shelves');
    is_deeply([map { (split /,/)[1, 3, 4] } table('a', 'outcome')],
        [qw(R1-1 green_mould contaminated R1-3 wet_rot contaminated R2-1 healthy_growth clean)], 'what became of them');
    is_deeply([map { (split /,/)[1, 3] } table('a', 'event')], [qw(R1-1 discard R1-2 use R1-3 discard)], 'what was done');
    like(join("\n", table('a', 'vessel')), qr/"'=HYPERLINK\(""x""\)"/, 'a formula is text');
    ($status, $out) = with('a', 'import', $sheet, '--map', $map);
    like($out, qr/Rows: 0 taken, 6 skipped.*Nothing new/s, 'a second time adds nothing');
    is(scalar(table('a', 'event')), 3, 'indeed nothing');
    spew('runs.csv', slurp($sheet) =~ s/bottom;;;;$/bottom;no growth;14\/03\/2026;;/mr);
    ($status, $out) = with('a', 'import', $sheet, '--map', $map);
    like($out, qr/Rows: 1 taken, 5 skipped/, 'what was written since is added');
    is((with('a', 'journal', 'check'))[0], 0, 'the journal is sound');
};

my $columns = "columns: {batch: Run, number: No, inoculated: Date, result: Result, ended: End}\n";
sub rows { return spew('rows.csv', join "\n", 'Run,No,Date,Result,End,Species,Weight,Dose,Control,Cook,Min', @_, '') }

subtest 'rows that are refused' => sub {
    my $good = 'R1,1,2026-03-01,,';
    my $plain = spew('plain.yaml', $columns);
    refused('an unknown word', 'b', rows($good, 'R1,2,2026-03-01,odd hum,2026-03-02'), $plain, qr/rows\.csv:3:17: refused: R1-2 result is 'odd hum'.*values/s);
    is(scalar(table('b', 'vessel')), 0, 'and nothing was kept');
    refused('a day of no order', 'b', rows('R1,1,03/04/2026,,'), $plain, qr/rows\.csv:2:6: .*day\/month\/year/s);
    refused('a 30th of February', 'b', rows('R1,1,2026-02-30,,'), $plain, qr/2:6: .*no\s+such\s+day/s);
    refused('a day to come', 'b', rows('R1,1,2027-01-01,,'), $plain, qr/2:6: .*future/s);
    refused('no batch', 'b', rows(',1,2026-03-01,,'), $plain, qr/2:1: .*batch is missing/s);
    refused('no vessel', 'b', rows('R1,,2026-03-01,,'), $plain, qr/2:4: .*nothing\s+tells\s+which\s+vessel/s);
    refused('no day of inoculation', 'b', rows('R1,1,,,'), $plain, qr/2:6: .*day of\s+inoculation/s);
    refused('a batch that changes its day', 'b', rows($good, 'R1,2,2026-03-02,,'), $plain, qr/3:6: .*batch\s+'R1'\s+has\s+at\s+'2026-03-01/s);
    refused('a vessel told of twice, otherwise', 'b', rows('R1,1,2026-03-01,green_mould,2026-03-09', 'R1,1,2026-03-01,wet_rot,2026-03-09'), $plain, qr/confirmed as\s+'green_mould'\s+already/s);
    refused('a number that is none', 'b', rows('R1,one,2026-03-01,,'), $plain, qr/2:4: .*whole\s+number/s);
    my $more = spew('more.yaml', $columns =~ s/\}/, grams: Weight, species: Species, dose: Dose, control: Control, cook: Cook, minutes: Min}/r);
    refused('a weight in another unit', 'b', rows('R1,1,2026-03-01,,,,12 psi'), $more, qr/grams is '12 psi'/);
    refused('a weight as a range', 'b', rows('R1,1,2026-03-01,,,,1-2 kg'), $more, qr/grams is '1-2 kg'/);
    refused('a weight that cannot be', 'b', rows('R1,1,2026-03-01,,,,-3 kg'), $more, qr/grams/);
    refused('an unknown species', 'b', rows('R1,1,2026-03-01,,,moonshroom'), $more, qr/species is\s+'moonshroom'/);
    refused('a dose of nothing', 'b', rows('R1,1,2026-03-01,,,,,lots'), $more, qr/dose is 'lots'/);
    refused('a control that is unsure', 'b', rows('R1,1,2026-03-01,,,,,,perhaps'), $more, qr/yes or no/);
    my ($status, $out) = with('b', 'import', rows($good, 'R1,2,2026-03-01,odd,2026-03-02', 'R1,3,2026-03-01,,,,2 lb 3 oz,5ml,x'), '--map', $more, '--partly');
    is($status, 0, 'in part, as was asked');
    like($out, qr/Rows: 2 taken, 0 skipped, 1 refused\. The rows taken were saved/, 'and told');
    is_deeply([map { my ($label, $grams, $control) = (split /,/)[1, 5, 12]; ($label, $grams && sprintf('%.4f', $grams), $control) } table('b', 'vessel')], ['R1-1', '', 'no', 'R1-3', '992.2333', 'yes'], 'the good rows are there') or diag join "\n", table('b', 'vessel');
    is(scalar(table('b', 'outcome')), 0, 'and nothing of the other');
};

# An old sheet as they are kept: a title, cells merged downwards, sums, words of their own, days that nobody wrote down.
subtest 'an old spreadsheet of forty rows, taken with one map' => sub {
    my @words = ('used', 'contam', 'Tossed', 'trich', 'given away', 'CONTAM - tossed', 'used', 'growing', 'no growth', 'sold', 'Used.', 'contaminated', 'trich, binned');
    my @lines = ('Grow log of the back room 2025 (old book),,,,,,', ',,,,,,');
    my ($rows, %told) = (0);
    push @lines, 'Run,Bag no,Date,Culture,What happened,Seen on,Notes';
    for my $run (1 .. 6) {
        for my $bag (1 .. 5) {
            my $word = $words[ $rows++ % @words ];
            my $seen = $rows % 3 ? '' : (18 + $run) . "/$run/2025";
            push @lines, join ',', $bag == 1 ? ("Q$run", $bag, "$run.$run.2025", ' blue oyster ') : ('', " $bag", '', ''), $word =~ /,/ ? qq("$word") : $word, $seen, $bag == 2 ? 'smelled off' : '';
        }
        push @lines, "Total,5,,,3 of 5,,", ',,,,,,';
        push @lines, 'Run,Bag no,Date,Culture,What happened,Seen on,Notes' if $run == 3;
    }
    my $old = spew('old.csv', join "\r\n", @lines, '');
    my (undef, $map) = with('old', 'import', $old, '--guess');
    like($map, qr/"contam": contaminated .*"trich": green_mould discarded .*"given away": given /s, 'words of the trade are proposed');
    like($map, qr/repeat: \["Run", "Date", "Culture"\]/, 'and what stands for the rows below');
    my $file = spew('old.yaml', $map);
    my ($status, $out, $err) = with('old', 'import', $old, '--map', $file);
    is($status, 0, 'taken') or diag $out . $err;
    like($out, qr/Rows: 30 taken, 15 skipped, 0 refused/, 'every vessel; titles, sums, blanks and headings are none');
    is(scalar(table('old', 'vessel')), 30, 'each once');
    my %because;
    $because{ (split /,/, $_, -1)[6] // "" }++ for grep {/,discard,/} table('old', 'event');
    is_deeply(\%because, { '' => 8, contaminated => 7, given => 2, sold => 2 }, 'why each went');
    is(scalar(grep {/,use,/} table('old', 'event')), 7, 'and what was used');
    is(scalar(grep {/green_mould/} table('old', 'outcome')), 5, 'and which mould, where it is named');
    like((grep {/,Q1-2,|Q1-2,/} table('old', 'event'))[0], qr/2025-01-01.*the day is the last one that was written down/, 'a result without a day takes the last that is known, and says so');
    ($status, $out) = with('old', 'import', $old, '--map', $file);
    like($out, qr/Rows: 0 taken, 45 skipped.*Nothing new/s, 'a second time adds nothing');
    spew('old2.yaml', "columns: {batch: Run, number: Bag no, inoculated: Date, result: What happened, ended: Seen on}\ndates: day/month/year\nrepeat: [Run, Date]\n");
    ($status, $out) = with('old', 'import', $old, '--map', "$scratch/old2.yaml");
    like($out, qr/Rows: 0 taken, 45 skipped.*Nothing new/s, 'nor does another map of it');
    ($status, $out) = with('old', 'journal', 'check');
    is($status, 0, 'and the journal is sound') or diag $out;
};

subtest 'the order of dates is what the column itself tells' => sub {
    my $dates = spew('dates.csv', join "\n", 'Jar,Date,Result', 'A1,5/10/25,ok', 'A2,05/10/2025,used', 'B1,19/10/25,ok', 'C1,2 Nov 25,ok', '');
    my (undef, $map) = with('o', 'import', $dates, '--guess');
    like($map, qr/^dates: day\/month\/year$/m, 'there is no month 19');
    like($map, qr/"ok": used .*long ago/, 'and what was well half a year ago is not growing still');
    my (undef, $out) = with('o', 'import', $dates, '--map', spew('dates.yaml', $map), '--dry-run');
    like($out, qr/taken: A1, inoculated 2025-10-05\n.*taken: C1, inoculated 2025-11-02\n.*^Inoculated 2025-10-05 to 2025-11-02\.$/ms, 'the rehearsal shows the days');
    my $unclear = spew('unclear.csv', "Jar,Date\nA1,2/3/26\nA2,2/3/26\n");
    like((with('o', 'import', $unclear, '--guess'))[1], qr/^dates: day.* or month\/day\/year: the file does not tell$/m, 'a doubt is said');
};

subtest 'what a word of a sheet is not taken for' => sub {
    for my $case (['fine green dust', 'fine is not all of it'], ['not contaminated', 'a denial'], ['contam but used', 'both at once']) {
        refused($case->[1], 'd', rows("R1,1,2026-03-01,$case->[0],2026-03-02"), spew('plain.yaml', $columns), qr/result is\s+'$case->[0]'/);
    }
};

subtest 'maps of several kinds' => sub {
    my ($status, $out, $err) = with('c', 'import', rows('R1,1,2026-03-01,,'), '--map', 'batch=Run,number=No,inoculated=Date');
    is($status, 0, 'as a line') or diag $err;
    my $sheet = spew('merged.csv', "Run,No,Date\nR7,1,5.3.26\n,2,\n,3,\nR8,1,Mar 6 2026\n");
    my $merged = spew('merged.yaml', "columns: {batch: Run, number: No, inoculated: Date}\ndates: dd.mm.yyyy\nrepeat: [Run, Date]\nsame: {species: oyster, place: attic}\n");
    ($status, $out, $err) = with('c', 'import', $sheet, '--map', $merged);
    is($status, 0, 'cells that repeat what stands above') or diag $out . $err;
    is_deeply([map { (split /,/)[1] } table('c', 'vessel')], [qw(R1-1 R7-1 R7-2 R7-3 R8-1)], 'make the rows whole');
    is_deeply([map { (split /,/)[2, 3] } (table('c', 'batch'))[1, 2]], ['2026-03-05T12:00:00+00:00', 'oyster', '2026-03-06T12:00:00+00:00', 'oyster'], 'dates of theirs, what is the same for all');
    my $us = spew('us.yaml', "columns: {batch: Run, number: No, inoculated: Date}\ndates: month/day/year\n");
    with('d', 'import', spew('us.csv', "Run\tNo\tDate\nR1\t1\t3/4/2026 7:30\n"), '--map', $us);
    like((table('d', 'batch'))[0], qr/2026-03-04T07:30:00/, 'the month first, the hour, tabs between');
};

subtest 'maps that are none' => sub {
    my $rows = rows('R1,1,2026-03-01,,');
    my %bad = (
        'a column that is not ours' => ["columns: {bacth: Run, number: No}\n", qr/bad\.yaml:1:11: .*did you mean 'batch'/],
        'a heading that is not there' => ["columns: {batch: Rum, number: No}\n", qr/rows\.csv:1:1: .*headed 'Rum'; did you mean 'Run'/],
        'no vessel' => ["columns: {batch: Run}\n", qr/no column says which vessel/],
        'no batch' => ["columns: {number: No}\n", qr/nothing says which batch/],
        'minutes of nothing' => ["columns: {batch: Run, number: No, minutes: Min}\n", qr/'minutes' belongs to a cook/],
        'no YAML' => ["columns: {batch: [\n", qr/bad\.yaml:\d+:\d+: .*not YAML/],
        'a part too many' => ["colums: {batch: Run}\n", qr/unknown key 'colums' in a map; did you mean 'columns'/],
        'an order that is none' => ["$columns" . "dates: sideways\n", qr/bad\.yaml:2:8: .*not an order for dates/],
        'a word without meaning' => ["$columns" . "values: {result: {odd: pink_elephant}}\n", qr/bad\.yaml:2:24: .*'pink_elephant' is no result/],
        'an empty file' => ['', qr/empty/],
        'aliases in a ring' => ["columns: &a {batch: *a, number: No}\n", qr/bad\.yaml/],
    );
    for my $title (sort keys %bad) {
        my ($text, $says) = @{ $bad{$title} };
        my $file = spew('bad.yaml', $text);
        my ($status, $out, $err) = with('e', 'import', $rows, '--map', $file);
        is($status, 65, "$title: refused") or diag $out;
        like($err, $says, "$title: told");
    }
    my ($status, undef, $err) = with('e', 'import', $rows, '--map', 'batch=Run,nmber=No');
    is($status, 2, 'a line with a slip');
    like($err, qr/did you mean 'number'/, 'is told');
    ($status) = with('e', 'import', $rows, '--map', "$scratch/nowhere.yaml");
    is($status, 74, 'a file that is not there');
};

subtest 'whatever a cell holds' => sub {
    my @evil = ("Robert'); DROP TABLE vessel;--", '=1+1', "\e[31mred\e]0;owned\a", "\xe2\x80\xaegnp", '<script>x</script>', '%s%n', "'quoted'");
    my $text = "Run,No,Date,Notes\n" . join '', map { my $cell = $_; my $line = ++$count; qq{"$cell",$line,2026-03-01,"$cell"\n} } @evil;
    my ($status, $out, $err) = with('f', 'import', spew('evil.csv', $text), '--map', 'batch=Run,number=No,inoculated=Date,note=Notes', '--dry-run');
    is($status, 0, 'goes in') or diag $out . $err;
    unlike($out . $err, qr/[\x00-\x08\x0b-\x1f\x7f]|\xe2\x80\xae/, 'and steers no terminal');
    with('f', 'import', "$scratch/evil.csv", '--map', 'batch=Run,number=No,inoculated=Date,note=Notes');
    my (undef, $csv) = with('f', 'export', '--table', 'batch');
    like($csv, qr/,\Q$_\E,2026/, 'exactly') for grep { !/^'?[=']/ } @evil;
    ($status, $out) = with('f', 'import', spew('evil.csv', "Run\e[2J,No,\xe2\x80\xaeDate\n"), '--guess');
    unlike($out, qr/[\x00-\x09\x0b-\x1f\x7f]/, 'a guess shows headings safely');
    my $long = 'x' x 1_000_000;
    ($status, $out, $err) = with('f', 'import', spew('long.csv', "Run,No,Date,Notes\nL,1,2026-03-01,\"$long\"\n"), '--map', 'batch=Run,number=No,inoculated=Date,note=Notes');
    is($status, 0, 'a megabyte of notes') or diag substr $err, 0, 300;
    ok(index(join('', table('f', 'vessel')), $long) > 0, 'is kept');
};

subtest 'a sheet with one column of names' => sub {
    my $sheet = spew('friend.csv', <<'CSV');
Jar #,Date inoc,Species,Culture,Size,Temp (C),Status
A1,3.1.2026,oyster,LC Bob,1 L,21,ok
A2,3.1.,blue oyster,LC bob,500ml,21,
B1,5.1.2026,shiitake,plate 4,2.5 kg bag,20,ok
B2,5.1.,blue shiitake,plate 4,jar:1litre,20,32
CSV
    my (undef, $map, $err) = with('h', 'import', $sheet, '--guess');
    like($map, qr/vessel: "Jar #".*^  # left out: Temp \(C\)\nsame:\n  batch: from vessel /ms, 'the labels tell the batch; what belongs to no record is left out');
    like($map, qr/"blue oyster": oyster   # once; read so/, 'what was generalised is in the map');
    my $file = spew('friend.yaml', $map);
    my ($status, $out) = with('h', 'import', $sheet, '--map', $file, '--dry-run');
    like($out, qr/refused: B2 result is '32'/, 'the map is taken as it is') or diag $out . $err;
    ($status, $out, $err) = with('h', 'import', $sheet, '--map', $file, '--partly', '-q');
    is($status, 0, 'in part: as was asked');
    like($out . $err, qr/Rows: 3 taken, 1 refused\./, 'and the sums are told, however quiet');
    is_deeply([map { (split /,/)[1] } table('h', 'batch')], [qw(A B)], 'two batches');
    is_deeply([map { my @row = split /,/; [@row[1, 2], $row[5]] } table('h', 'vessel')],
        [['A1', 'A', ''], ['A2', 'A', ''], ['B1', 'B', '2500']], 'sizes as people write them') or diag join "\n", table('h', 'vessel');
    is_deeply([map { (split /,/)[1] } table('h', 'starter')], ['LC Bob', 'plate 4'], 'labels that differ in case are one');
    my $columns = 'vessel=Jar #,inoculated=Date inoc,species=Species,starter=Culture';
    my $plain = spew('plain2.yaml', "columns: {vessel: 'Jar #', inoculated: Date inoc, species: Species, starter: Culture, kind: Size}\nsame: {batch: from vessel}\ndates: day/month/year\n");
    ($status, $out) = with('i', 'import', $sheet, '--map', $plain);
    $out =~ s/\s+/ /g;
    like($out, qr/species 'blue oyster' was read as oyster/, 'what was generalised is told');
    like($out, qr/starter 'LC bob' was taken for 'LC Bob'/, 'and what was taken for the same');
    like($out, qr/inoculated '3\.1\.' was read as 2026-01-03, by the rows above/, 'and the year of a day without one');
    my $one = spew('one.yaml', slurp($plain) =~ s/from vessel/BOB/r);
    ($status, $out) = with('k', 'import', $sheet, '--map', $one);
    like($out =~ s/\s+/ /gr, qr/so they are several batches: map a column that tells them, or 'batch: from vessel' under 'same'/, 'one batch for what are several: what to do');
    refused('a first day without its year', 'k', spew('year.csv', "Jar #,Date inoc,Species,Culture,Size\nA1,3.1.,oyster,LC,1 L\n"), $plain, qr/write\s+the\s+year\s+as\s+well/);
};

subtest 'one name for two things' => sub {
    with('l', qw(batch 3 quart jars rye oyster 15 psi 90 min --label B1));
    my $sheet = spew('clash.csv', "Jar,Run,Date,Species,Cook\nB1,Z,2026-03-01,oyster,C1\nb2,Z,2026-03-01,oyster,C1\n");
    my $map = 'vessel=Jar,batch=Run,inoculated=Date,species=Species,cook=Cook';
    refused('a vessel called as a batch is', 'l', $sheet, $map, qr/there is\s+a\s+batch\s+'B1'\s+already.*--prefix\s+K\s+calls\s+it\s+'K-B1'/s);
    my ($status, $out, $err) = with('l', 'import', $sheet, '--map', $map, '--partly');
    like($out =~ s/\s+/ /gr, qr/cook 'C1' is the one in the journal \(--prefix K keeps them apart\)/, 'a cook of the same name is told');
    ($status, $out) = with('l', 'import', $sheet, '--map', $map, '--prefix', 'K');
    is($status, 0, 'a prefix keeps them apart') or diag $out;
    is_deeply([map { (split /,/)[1] } table('l', 'cook')], [qw(C1 K-C1)], 'and the cooks');
    ($status, $out) = with('l', 'look', 'B1', 'half white');
    like($out, qr/B1-1 to B1-3/, 'one\'s own batch is reached as ever');
    (undef, undef, $err) = with('l', 'batch', '2', '--label', 'B2', qw(--like B1));
    like($err, qr/there is a\s+vessel 'B2' already/, 'nor is a batch called as a vessel is, in whatever case');
    ($status, $out) = with('l', qw(batch 2 --like B1));
    like($out, qr/^B3: /, 'and the next label passes over it') or diag $out;
    ($status, undef, $err) = with('l', qw(correct vessel B1-1 label=B3));
    isnt($status, 0, 'nor by a correction');
    with('l', qw(starter C1 oyster plate));
    (undef, undef, $err) = with('l', qw(batch 2 quart jars rye oyster C1));
    like($err, qr/'C1' is a starter and a cook; say which, for instance: starter C1/, 'a word that names two records is asked about');
    ($status, $out) = with('l', qw(batch 2 quart jars rye oyster cook C1 starter C1));
    like($out =~ s/\s+/ /gr, qr/Known already: starter C1, cook C1/, 'and taken as it is said') or diag $out;
    like((with('l', qw(history C1)))[1], qr/There is a cook C1 as well: jarside history cook C1/, 'a history says so');
    # A journal of old, where it happened.
    with('m', qw(batch 2 quart jars rye oyster 15 psi 90 min --label B1));
    with('m', 'export', "$scratch/old");
    my $vessels = slurp("$scratch/old/vessel.csv");
    spew('old/vessel.csv', $vessels =~ s/\bB1-2\b/B1/r);
    is((with('n', 'import', "$scratch/old"))[0], 0, 'what an old journal holds is read back as it is');
    for my $act (['look', 'B1', 'green'], ['discard', 'B1'], ['shake', 'B1']) {
        ($status, undef, $err) = with('n', @$act);
        isnt($status, 0, "$act->[0]: not guessed");
        like($err =~ s/\s+/ /gr, qr/'B1' is a batch and a vessel.*jarside correct vessel B1 label=K-B1/, '... but asked');
    }
    like((with('n', 'journal', 'check'))[1], qr/a batch has the same label/, 'a check says so');
    is((with('n', qw(correct vessel B1 label=K-B1)))[0], 0, 'the other label is given');
    is((with('n', qw(shake B1 --at 2026-03-20)))[0], 0, 'and the batch is reached');
};

subtest 'one\'s own, and those of a friend' => sub {
    my sub at_may { my @args = @_; return run(@args, '--journal', "$scratch/o.db", { env => { JARSIDE_NOW => '2026-05-01T18:00:00Z' } }) }
    at_may(qw(batch 3 quart jars rye oyster 15 psi 90 min --at 2026-04-20));
    at_may(qw(batch 2 quart jars rye oyster 15 psi 90 min --at 2026-04-21));
    my $sheet = spew('his.csv', "Jar,Date,Species,Status\nA1,2026-01-03,oyster,ok\nA2,2026-01-03,oyster,\nC1,2026-01-10,oyster,thrown out\n");
    my (undef, $out) = at_may('import', $sheet, '--prefix', 'K', '--map', spew('his.yaml', "columns: {vessel: Jar, inoculated: Date, species: Species, result: Status}\nsame: {batch: from vessel}\n"));
    like($out =~ s/\s+/ /gr, qr/They count with yours.*due B1 B2.*stats B1 B2.*--since/, 'an import says how to tell them apart');
    (undef, $out) = at_may('due');
    like($out =~ s/\s+/ /gr, qr/B1-1 to B1-3: .*Not listed: 2 imported vessels of K-A, never looked at and long past/, 'what ended long ago is not due one by one');
    unlike($out, qr/K-A1|since 2026-01/, 'nor overdue since January');
    unlike((at_may(qw(due B2)))[1], qr/B1-|K-A/, 'what is due of one batch');
    my $stats = sub { my $all = json('stats', @_, '--json', '--journal', "$scratch/o.db", { env => { JARSIDE_NOW => '2026-05-01T18:00:00Z' } }); my $n = 0; $n += $_->{open} + $_->{sound} + $_->{lost} for @{ $all->{month} }; return $n };
    is($stats->(), 8, 'all are counted');
    is($stats->(qw(B1 B2)), 5, 'those of some batches');
    is($stats->(qw(--since 2026-04-21)), 2, 'and since a day');
    like((at_may(qw(due B9)))[2], qr/there is no batch 'B9'/, 'a batch that is none is told');
    like((at_may(qw(due B1 --ics -)))[2], qr/a calendar is of all batches/, 'and what a calendar does not do');
    like((grep {/,discard,/} table('o', 'event'))[0], qr/2026-01-10/, 'what has no end date ended on the last day that is known');
};

subtest 'as JSON' => sub {
    my $answer = json('import', '--json', rows('R1,1,2026-03-01,,', 'R1,2,2026-03-01,odd,2026-03-02'), '--map', spew('plain.yaml', $columns), '--journal', "$scratch/g.db");
    is($answer->{schema}, 1, 'with its version');
    is_deeply([@$answer{qw(taken skipped refused)}], [1, 0, 1], 'counts');
    ok(!$answer->{kept}, 'and that nothing was kept');
    is_deeply([@{ $answer->{rows}[1] }{qw(line column verdict label)}], [3, 17, 'refused', 'R1-2'], 'and each row with its place');
};

done_testing;
