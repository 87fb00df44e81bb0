#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# `jarside review --html`: one page, whole and well-formed whatever the data, and with the same figures as the JSON.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use Jarside;
use Test::More;

my %now    = (env => { JARSIDE_NOW => '2026-05-01T12:00:00+00:00' });
my $folder = scratch();
my $pages  = 0;
my @season = ('--journal', "$folder/season.db");
ok(season($season[1]), 'an invented season') or BAIL_OUT('no season');

sub slurp { open(my $from, '<:raw', $_[0]) or die "$_[0]: $!"; local $/; return scalar <$from> }

# The page of a review, after every check that any page must pass.
sub page {
    my ($title, @review) = @_;
    my $in   = ref $review[-1] ? pop @review : {};
    my $file = "$folder/" . ++$pages . '.html';
    my ($status, undef, $err) = run('review', @review, '--html', $file, { %now, %$in });
    is($status, 0, "$title: exit 0") or diag $err;
    return '' unless -e $file;
    my $page = slurp($file);
    is((stat $file)[2] & 07777, 0600, "$title: for its owner only");
    is(scalar `xmllint --noout '$file' 2>&1`, '', "$title: well-formed");
    is(scalar `xmllint --html --noout --encode utf-8 '$file' 2>&1 | grep 'parser error' | grep -v 'Tag .* invalid'`,
        '', "$title: nothing a lenient reader would have to mend");
    # Text may say anything; tags, attributes and style may not.
    my @tags = $page =~ /<[a-z][^>]*>/gi;
    is(join(' ', grep { /^<script|\son[a-z]+=|javascript:/i } @tags), '', "$title: no script");
    my ($style) = $page =~ m{<style>(.*?)</style>}s;
    is(join(' ', grep { /\b(?:src|srcset|action|data|xlink:href)=|href="(?!#)/ } @tags), '', "$title: links within only");
    unlike($style, qr/url|\@import|https?:/, "$title: style from nowhere else");
    my %seen;
    is(join(' ', grep { $seen{$_}++ } map { /\bid="([^"]*)"/ ? $1 : () } @tags), '', "$title: ids are unique");
    is(join(' ', grep { !$seen{$_} } map { /href="#([^"]*)"/ ? $1 : () } @tags), '', "$title: links lead somewhere");
    my @drawings = $page =~ m{(<svg.*?</svg>)}sg;
    is(scalar(grep { !/^<svg role="img" aria-labelledby="(\S+) (\S+)"[^>]*>\s*<title id="\1">[^<]+<\/title>\s*<desc id="\2">[^<]+<\/desc>/ } @drawings),
        0, "$title: every drawing has a title and a description");
    is(scalar(grep { !/^<table class="shares[ a-z]*">\s*<caption>[^<]+<\/caption>/ } $page =~ m{(<table.*?</table>)}sg), 0,
        "$title: every table has a caption");
    my @bars = map { [/left:([-\d.]+)%;width:([-\d.]+)%.*?left:([-\d.]+)%/] } $page =~ m{<td class="bar">(<i.*?)</td>}g;
    is(scalar(grep { $_->[0] < 0 || $_->[1] < 0 || $_->[0] + $_->[1] > 100.1 || $_->[2] < 0 || $_->[2] > 100 } @bars), 0, "$title: bars lie within");
    my @levels = $page =~ /<h([1-6])\b/g;
    is($levels[0], 1, "$title: one heading at the top");
    is(scalar(grep { $levels[$_] - $levels[ $_ - 1 ] > 1 } 1 .. $#levels), 0, "$title: no level of headings is skipped");
    is(scalar(() = $page =~ /<main>|<h1>|<title>[^<]*Jarside/g), 3, "$title: main, h1, title");
    unlike($page, qr/prove[dns]\b/i, "$title: nothing is proved");
    unlike($page, qr/\bnan\b|\binf\b|%!/i, "$title: no figure that is none");
    return $page;
}

sub plain { return $_[0] =~ s{<(style|svg)\b.*?</\1>}{ }sgr =~ s/<[^>]*>/ /gr =~ s/\s+/ /gr }
sub rows { my ($count, $row) = @_; return "$row\n" x $count }
my $head = "vessel,lost,cook,starter,shelf,batch,started,ended\n";

subtest 'the invented season' => sub {
    my $page   = page('season', '--demo');
    my $review = json(qw(review --json), @season, \%now);
    my $text   = plain($page);
    my ($status, $out) = run('review', @season, \%now);
    my ($short) = $text =~ /In short (.*?) This is statistics, not proof/;
    is($short, ($out =~ s/\n\n.*//sr =~ s/\s+/ /gr), 'begins with what the screen says');
    for my $factor (@{ $review->{factors} }) {
        next if @{ $factor->{levels} } < 2 || $factor->{factor} eq 'batch'; # which is shown in order of time
        my $name = { session => 'inoculation session', 'dose of starter' => 'inoculation rate' }->{ $factor->{factor} } // $factor->{factor};
        my ($drawing) = $page =~ m{<caption>By \Q$name\E</caption>(.*?)</table>}s;
        ok($drawing, "a table by $factor->{factor}");
        for my $level (@{ $factor->{levels} }) {
            my $counts = "$level->{counts}{lost} of $level->{counts}{of}";
            my $label = $level->{level};
            utf8::encode($label);
            like($drawing // '', qr{>\Q$label\E</th><td class="bar">.*?<td>\Q$counts\E</td>}, "$label: its bar and its counts");
        }
    }
    is(() = $page =~ /<span class="[a-z ]+" title="/g, $review->{totals}{vessels} + $review->{totals}{controls}{of}, 'one mark for each vessel, those without starter too');
    like($page, qr{>\Q$_->{batch}\E</th><td class="bar">.*?<td>$_->{counts}{lost} of $_->{counts}{of}</td>}, "$_->{batch} in its order") for @{ $review->{batches} };
    is(() = $page =~ /class="curve c[0-9]" d="M[^"]*V/g, 2, 'a curve for the leading fault and one for the others');
    like($text, qr/cannot be told apart/i, 'what cannot be told apart');
    like($text, qr{To tell (?:grain lot L3 or session N7|session N7 or grain lot L3) apart}, 'and the next batch');
    my @bare = grep { /\bp (?:0\.|below)/ && !/\d+ of \d+|from \d+ (?:vessels|informative)/ }
        map { s/<[^>]*>//gr } $page =~ m{<(?:p|li)\b[^>]*>(.*?)</(?:p|li)>}sg;
    is("@bare", '', 'no p without counts');
    is(page('again', @season), $page, 'the same bytes again');
    like($page, qr/\.bar\+td\{padding-left:\.5rem\}/, 'the mark at 100 % has room before the count');
};

subtest 'what cannot be concluded' => sub {
    like(plain(page('no rows', qw(--csv -), { in => $head })), qr/nothing to conclude/, 'empty is said');
    my $dates = '2026-03-01,2026-03-09';
    my $all = page('all lost', qw(--csv -), { in => $head . rows(9, "a,yes,K1,S1,top,B1,$dates") . rows(9, "b,yes,K2,S1,top,B2,$dates") });
    like(plain($all), qr/All of them were lost/, 'all lost is said');
    unlike(plain($all), qr/What did it/, 'and nobody is blamed');
    like(plain(page('none lost', qw(--csv -), { in => $head . rows(9, "a,no,K1,S1,top,B1,$dates") . rows(9, "b,no,K2,S1,top,B2,$dates") })),
        qr/Nothing was lost/, 'nothing lost is said');
    like(plain(page('one batch', qw(--csv -), { in => $head . rows(9, "a,yes,K1,S1,top,B1,$dates") . rows(9, "b,no,K1,S1,top,B1,$dates") })),
        qr/only one batch/, 'one batch is said');
    page('one vessel', qw(--csv -), { in => $head . "a,yes,K1,S1,top,B1,$dates\n" });
    page('no days, no batch', qw(--csv -), { in => "lost,cook\n" . rows(9, 'yes,K1') . rows(20, 'no,K2') });
    page('untold', qw(--csv -), { in => $head . rows(9, "a,,K1,S1,top,B1,2026-03-01,") });
    page('young', qw(--csv -), { in => "fate,cook,started\n" . rows(9, 'growing,K1,2026-04-28') });
    page('future', qw(--csv -), { in => $head . rows(5, 'a,yes,K1,S1,top,B1,2031-03-01,2031-03-08') . rows(9, "a,no,K2,S1,top,B2,$dates") });
};

subtest 'thousands' => sub {
    my $csv = "jar,lost,cook,batch,starter,started,ended\n";
    $csv .= join(',', "J$_", ($_ % 9 == 0 || $_ % 7 == 3 ? 'yes' : 'no'), 'K' . int($_ / 3), 'B' . int($_ / 80), 'S' . $_ % 7, '2026-01-01', '2026-02-01') . "\n"
        for 1 .. 9000;
    my $page = page('9000 vessels', qw(--csv -), { in => $csv });
    like(plain($page), qr/and 29\d\d more that lost no larger share/, 'the rest of 3000 cooks is counted');
    like(plain($page), qr/The last 40 of 113/, 'the last of the batches are drawn');
    cmp_ok(length $page, '<', 600_000, 'and the page stays small');
};

subtest 'hostile labels' => sub {
    my @labels = ('<script>alert(1)</script>', '"><img src=x onerror=alert(1)>', "K'&amp;<!--", "\e[31mred", "\xe2\x80\xaegnp", ']]>', '</svg></title>',
        "\xff\xfe", "a\xcc\x81" x 500, "\xe6\xa2\x85" x 90, 'W' x 4000, '%s%n', "\x01\x02", "\xef\xbf\xbe");
    my $csv = "vessel,lost,cook,batch,<b>shelf</b>,started,ended\n";
    for my $i (0 .. 279) {
        my $label = $labels[ $i % @labels ] =~ s/"/""/gr;
        $csv .= qq("$label",) . ($i % @labels < 2 ? 'yes' : $i % 9 ? 'no' : 'yes') . qq(,"$label","$label","$label",2026-03-01,2026-03-) . (10 + $i % 9) . "\n"
            if $i < 2 * @labels || length $label < 2000;
    }
    my $page = page('labels', qw(--csv -), { in => $csv });
    like($page, qr/&lt;script&gt;alert\(1\)/, 'markup is shown as text');
    unlike($page, qr/<img|<b>|<!--|]]>/, 'and is none');
    unlike($page, qr/[\x00-\x08\x0b-\x1f]|\xe2\x80\xae|\xef\xbf\xbe/, 'no controls, no overrides');
    cmp_ok(length $page, '<', 800_000, 'a label of thousands of letters is cut');
    is(scalar(grep { length > 1000 } $page =~ />([^<>]*)</g), 0, 'wherever it stands');
    my $huge = "$folder/huge.html";
    my ($status) = run(qw(review --csv - --html), $huge, { in => "lost,cook\nyes," . 'W' x 1_000_000 . "\nno,K2\n", %now });
    is($status, 65, 'one of a megabyte is refused');
    ok(!-e $huge, 'and no page is written');
};

subtest 'the file' => sub {
    my $file = "$folder/there.html";
    open(my $to, '>', $file) or die $!;
    print {$to} 'mine';
    close $to;
    my ($status, $out, $err) = run(qw(review --html), $file, @season, \%now);
    is($status, 74, 'a file that exists: exit 74');
    like($err, qr/there\.html.*exists/, 'is not replaced');
    is(slurp($file), 'mine', 'and is as it was');
    ($status) = run(qw(review --force --html), $file, @season, \%now);
    is($status, 0, '--force replaces it');
    like(slurp($file), qr{</html>\n\z}, 'whole');
    ($status, undef, $err) = run(qw(review --html /nonexistent/x.html), @season, \%now);
    is($status, 74, 'no such folder: exit 74');
    like($err, qr{/nonexistent/x\.html}, 'is named');
    ($status, $out) = run(qw(review --html -), @season, \%now);
    is($out, slurp($file), q('-' writes it to standard output));
    is((run(qw(review --demo --json --html x.html), \%now))[0], 2, 'not JSON and a page at once');
    is(join(' ', grep { !/\.html$|season\.db/ } map { s{.*/}{}r } glob("$folder/* $folder/.??*")), '', 'nothing else is left behind');
};

done_testing;
