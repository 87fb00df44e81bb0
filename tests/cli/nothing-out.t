#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# The same hostile strings in every place where data may stand, and every kind of output looked at: nothing steers a
# terminal, turns the direction of text, acts as markup, becomes a formula, breaks a line of a calendar, or is no JSON.
# Every record is invented.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use Jarside;
use Test::More;

my $scratch = scratch();
sub slurp { my ($file) = @_; open(my $from, '<:raw', $file) or return ''; local $/; return scalar <$from> }
sub spew { my ($file, $bytes) = @_; open(my $to, '>:raw', $file) or die "$file: $!"; print {$to} $bytes; close $to; return $file }

my %hostile = (
    'escape sequences'   => "\e[31mred\e]0;owned\a\e[2J",
    'C1 controls'        => "a\xc2\x9b31mb\xc2\x9dc\xc2\x90d",
    'bidi controls'      => "a\xe2\x80\xaeb\xe2\x81\xa6c\xe2\x80\x8fd\xd8\x9c",
    'nothing to see'     => "a\xe2\x80\x8bb\xe2\x81\xa0c\xef\xbb\xbfd\xc2\xade",
    'tags of characters' => "a\xf3\xa0\x81\x81b",
    'markup'             => q(<script>alert(1)</script>"><img src=x onerror='x'>&amp;<!--),
    'a formula'          => '=HYPERLINK("http://x.invalid","y")',
    'plus'               => '+1+cmd|x', 'minus' => '-2+3', 'at' => '@SUM(A1)',
    'a calendar line'    => "x;y,z\\nBEGIN:VALARM\r\nEND:VCALENDAR\r\n",
    'a long line'        => 'w' x 300,
    'JSON'               => q("}],"action":"keep",{"\\u0000\\),
    'controls'           => join('', map { chr } 1 .. 8, 11, 12, 14 .. 31, 127),
);
my @names = sort keys %hostile;

# ---- what an output may hold -----------------------------------------------------------------------

my $steers = qr/[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]|\xc2[\x80-\x9f\xad]|\xd8\x9c|\xe2\x80[\x8b-\x8f\xaa-\xae]|\xe2\x81[\xa0-\xaf]|\xef\xbb\xbf|\xf3\xa0[\x80\x81]/;

sub is_utf8 { my $copy = shift; return utf8::decode($copy) }

sub plain_ok {
    my ($title, $out) = @_;
    ok(is_utf8($out), "$title: UTF-8");
    my ($bad) = $out =~ /(.{0,20}$steers.{0,20})/s;
    is($bad, undef, "$title: nothing that steers");
    unlike($out, qr/\r/, "$title: no carriage return");
}

# Colours are the program's own: those and nothing else.
sub colour_ok { my ($title, $out) = @_; plain_ok($title, $out =~ s/\e\[(?:0|[12]?;?3?[0-9]?)(?:;[0-9]+)?m//gr) }

sub json_ok {
    my ($title, $out) = @_;
    for my $line ($out =~ /^\{\n/ ? $out : split /\n/, $out) {
        ok(eval { decode_json($line); 1 }, "$title: JSON") or diag $@;
    }
    my ($bad) = $out =~ /(.{0,20}$steers.{0,20})/s;
    is($bad, undef, "$title: nothing that steers");
}

sub html_ok {
    my ($title, $out) = @_;
    plain_ok($title, $out);
    spew("$scratch/page.html", $out);
    is(scalar `xmllint --html --noout --encode utf-8 '$scratch/page.html' 2>&1 | grep 'parser error' | grep -v 'Tag .* invalid'`, '', "$title: well-formed");
    my @tags = $out =~ /<([a-z!][^>]*)>/gi;
    is(join(' ', grep { /^(?:script|img|!--)|\son[a-z]+\s*=/i } @tags), '', "$title: no markup from data");
}

sub ics_ok {
    my ($title, $out) = @_;
    my @lines = split /\r\n/, $out, -1;
    is(pop @lines, '', "$title: ends with a line");
    is(join(' ', grep { length > 75 || /[\r\n]/ || !is_utf8($_) || /$steers/ } @lines), '', "$title: lines as RFC 5545 has them");
    my $whole = $out =~ s/\r\n[ \t]//gr;
    is(scalar(() = $whole =~ /^BEGIN:/mg), scalar(() = $whole =~ /^END:/mg), "$title: what begins ends");
    is(scalar(() = $whole =~ /^END:VCALENDAR/mg), 1, "$title: one calendar");
    unlike($whole, qr/^BEGIN:VALARM/m, "$title: no alarm that nobody asked for");
}

# Fields as RFC 4180 has them.
sub cells {
    my ($text) = @_;
    my @cells;
    while ($text =~ /\G(?:"((?:[^"]|"")*)"|([^",\r\n]*))(?:,|\r\n|\z)/gc) {
        push @cells, defined $1 ? $1 =~ s/""/"/gr : $2;
        last if pos($text) >= length $text;
    }
    return @cells;
}
sub csv_ok {
    my ($title, $out) = @_;
    ok(is_utf8($out), "$title: UTF-8");
    my @formulas = grep { /^[=+\@\t\r]/ || (/^-/ && !/^-?[0-9.e+]+\z/) } cells($out);
    is("@formulas", '', "$title: no formula");
}

my %checks = (plain => \&plain_ok, colour => \&colour_ok, json => \&json_ok, html => \&html_ok, ics => \&ics_ok, csv => \&csv_ok);

# ---- a journal full of it --------------------------------------------------------------------------

my $cell = sub { my ($text) = @_; return '"' . ($text =~ s/"/""/gr) . '"' };
my $yaml = sub { my ($text) = @_; return '"' . ($text =~ s/([\\"])/\\$1/gr =~ s/([\x00-\x1f\x7f])/sprintf '\\x%02x', ord $1/ger) . '"' };

for my $name (@names) {
    my $text = $hostile{$name};
    my $folder = "$scratch/" . ($name =~ s/\W/_/gr);
    mkdir $folder;
    mkdir "$folder/in";
    my $c = $cell->($text);
    spew("$folder/in/place.csv", "label,celsius,note\r\n$c,20,$c\r\n");
    spew("$folder/in/lot.csv", "label,grain,note\r\n$c,corn,$c\r\n");
    spew("$folder/in/cook.csv", "label,cooker,method,gauge,minutes,at,note\r\n$c,$c,$c,103,90,2026-02-27T10:00:00Z,$c\r\n");
    spew("$folder/in/starter.csv", "label,species,kind,source,note\r\n$c,amber,broth,$c,$c\r\n");
    spew("$folder/in/session.csv", "label,at,note\r\n$c,2026-03-01T12:00:00Z,$c\r\n");
    spew("$folder/in/batch.csv", "label,at,species,starter,lot,cook,session,note\r\n$c,2026-03-01T12:00:00Z,amber,$c,$c,$c,$c,$c\r\n");
    spew("$folder/in/vessel.csv", "label,batch,number,kind,place,position,note,due,due_for\r\n" . join '', map { $cell->("$text$_") . ",$c,$_,pot,$c,$c,$c,2026-03-22,shake\r\n" } 1 .. 3);
    spew("$folder/in/look.csv", "vessel,at,words,action,finding,status,contaminated\r\n" . $cell->("${text}1") . ",2026-03-06T12:00:00Z,$c,discard,crust,contaminated,0.9\r\n");
    spew("$folder/in/outcome.csv", "vessel,at,finding,status,how\r\n" . $cell->("${text}1") . ",2026-03-09T12:00:00Z,crust,contaminated,$c\r\n");
    my @journal = ('--journal', "$folder/j.db");
    my %env     = (JARSIDE_NOW => '2026-03-20T18:00:00Z', JARSIDE_RULES => project_root() . '/tests/unit/tiny-rules');
    my ($status, $out, $err) = run('import', "$folder/in", @journal, { env => \%env });
    plain_ok("$name: import", $out . $err);
    # Where a label may not be such a thing it is refused; then the notes carry it.
    if ($status != 0) {
        is($status, 65, "$name: as a label it is refused") or diag $err;
        my $i = 0;
        for my $file (glob "$folder/in/*.csv") {
            my $table = slurp($file);
            my ($head, $rest) = split /\r\n/, $table, 2;
            my %safe = (label => 1, batch => 1, vessel => 1, place => 1, starter => 1, lot => 1, cook => 1, session => 1);
            my @columns = split /,/, $head;
            my $rows = '';
            my @cells = cells($rest);
            for my $row (0 .. int(@cells / @columns) - 1) {
                my @row = @cells[ $row * @columns .. ($row + 1) * @columns - 1 ];
                $rows .= join(',', map { my $value = $row[$_]; $safe{ $columns[$_] } && $value =~ /^\Q$text\E/ ? 'L' . substr($value, length $text) : $cell->($value) } 0 .. $#row) . "\r\n";
            }
            spew($file, "$head\r\n$rows");
        }
        ($status, $out, $err) = run('import', "$folder/in", @journal, { env => \%env });
        plain_ok("$name: import again", $out . $err);
    }
    is($status, 0, "$name: in the journal") or diag($err), next;
    my $label = (cells((run(qw(export --table vessel), @journal, { env => \%env }))[1] =~ s/^.*?\r\n//r))[1] =~ s/^'//r;

    my $table = spew("$folder/table.csv", "lost,cook,$c,batch,started,ended\n" . join '', map { ($_ % 3 ? 'no' : 'yes') . ",$c" . ',' . $cell->($text . $_ % 2) . ',B' . int($_ / 9) . ",2026-03-01,2026-03-1@{[$_ % 9]}\n" } 0 .. 35);
    my $probe = spew("$folder/probe.csv", "minutes,temperature_C,$c\n" . join '', map {"$_,@{[60 + $_ / 3]},$c\n"} 0 .. 120);
    my $case  = spew("$folder/case.yaml", "case:\n  id: a\n  text: " . $yaml->("red $text") . "\n  note: " . $yaml->($text) . "\n");
    my @outputs = (
        [ plain => 'list', @journal ], [ colour => qw(list --color always), @journal ], [ json => qw(list --json), @journal ],
        [ plain => qw(list vessels), @journal ], [ json => qw(list vessels --json), @journal ], [ json => qw(list places --json), @journal ],
        [ plain => qw(list starters), @journal ], [ plain => 'history', $label, @journal ], [ colour => 'history', $label, qw(--color always), @journal ],
        [ json => 'history', $label, '--json', @journal ], [ plain => 'search', 'red', @journal ],
        [ plain => 'due', @journal ], [ plain => 'stats', @journal ], [ json => qw(stats --json), @journal ], [ json => qw(due --json), @journal ], [ plain => qw(due --sheet), @journal ], [ html => qw(due --html -), @journal ], [ html => 'history', $label, qw(--html -), @journal ], [ ics => qw(due --ics -), @journal ],
        [ html => 'labels', $label, qw(--html -), @journal ], [ plain => 'labels', $label, @journal ], [ plain => qw(journal check), @journal ],
        (map { [ csv => qw(export --table), $_, @journal ] } qw(place cook lot starter batch vessel look outcome)),
        [ plain => 'judge', '--explain', "red $text" ], [ colour => qw(judge --color always), "red $text" ], [ json => qw(judge --json), "red $text" ],
        [ plain => 'judge', '--case', $case ], [ json => 'judge', '--json', '--case', $case ], [ plain => 'judge', '--vessel', $label, "red $text", @journal ],
        [ plain => 'judge', '--set', "tint=$text" ], [ plain => 'show', $text ], [ plain => $text ], [ plain => "--$text" ],
        [ plain => 'cook', '--probe', $probe ], [ json => 'cook', '--json', '--probe', $probe ],
        [ plain => 'review', '--details', '--csv', $table ], [ colour => 'review', '--color', 'always', '--csv', $table ], [ json => 'review', '--json', '--csv', $table ],
        [ html => 'review', '--csv', $table, '--html', '-' ], [ html => 'review', '--html', '-', @journal ], [ json => 'review', '--json', @journal ],
        [ plain => 'import', $table, '--guess' ],
        [ plain => 'move', $label, $text, @journal ], [ json => 'shake', $label, '--json', '--note', $text, @journal ], [ plain => 'record', 'place', "P1", "note=$text", @journal ],
    );
    for my $output (@outputs) {
        my ($kind, @args) = @$output;
        my $title = "$name: " . join ' ', grep { !m{/} && /^[a-z -]{2,20}\z/ } @args;
        next if grep {/\0/} @args;
        my ($status, $out, $err) = run(@args, { env => \%env });
        plain_ok("$title: messages", $err);
        cmp_ok($status, '<', 128, "$title: an orderly end");
        $checks{$kind}->("$title ($kind)", $out) if length $out;
    }
    my ($said) = run('ask', { in => "red $text\n$text\nverdict\n", env => \%env });
}

# ---- rules of a stranger ---------------------------------------------------------------------------

for my $name (@names) {
    my $text = $hostile{$name};
    my $folder = "$scratch/rules";
    system('rm', '-rf', $folder);
    system('cp', '-R', project_root() . '/tests/unit/tiny-rules', $folder) == 0 or die 'cp';
    my $observed = slurp("$folder/observed.yaml");
    my $y = $yaml->($text);
    $observed =~ s/label: red,/label: $y,/;
    $observed =~ s/look: Through the wall\./look: $y/;
    $observed =~ s/ask: Which tints do you see\?/ask: $y/;
    spew("$folder/observed.yaml", $observed);
    my $decision = slurp("$folder/decision.yaml");
    $decision =~ s/Wash your hands\./$y/;
    spew("$folder/decision.yaml", $decision);
    my %env = (JARSIDE_RULES => $folder);
    for my $output ([ plain => qw(rules check) ], [ plain => 'judge', '--explain', 'red, day 3' ], [ colour => qw(judge --explain --color always), 'red, day 3' ],
        [ json => qw(judge --json), 'red, day 3' ], [ plain => 'show', 'tint' ], [ plain => 'ask' ]) {
        my ($kind, @args) = @$output;
        my ($status, $out, $err) = run(@args, { env => \%env, in => "red\nwhy\nhow\n1\nverdict\n" });
        my $title = "rules with $name: $args[0]";
        plain_ok("$title: messages", $err);
        cmp_ok($status, '<', 128, "$title: an orderly end");
        $checks{$kind}->("$title ($kind)", $out) if length $out;
    }
}
done_testing;
