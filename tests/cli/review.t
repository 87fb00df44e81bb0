#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# `jarside review`: the planted faults of the invented season, tables of a grower's own, and what cannot be concluded.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use Jarside qw(:DEFAULT refused);
use POSIX ();
use Test::More;

sub ln_factorial { my ($n) = @_; my $sum = 0; $sum += log $_ for 2 .. $n; return $sum }
sub ln_choose { my ($n, $k) = @_; return $k > $n ? -1e300 : ln_factorial($n) - ln_factorial($k) - ln_factorial($n - $k) }

my %now = (env => { JARSIDE_NOW => '2026-05-01T12:00:00+00:00' });

sub table { return json(qw(review --json --csv -), { in => $_[0], %now }) }
sub said {
    my ($status, $out, $err) = run(qw(review --csv -), { in => $_[0], %now });
    return ($status, $out =~ s/\s+/ /gr, $err);
}
sub names { join ' or ', sort map { "$_->{scope} $_->{level}" } @{ $_[0]{suspects} } }
sub limits { join ' ', map { $_->{id} } @{ $_[0]{limits} } }

# The invented season is built anew by --demo; the same is made once in a journal.
my @season = ('--journal', scratch() . '/season.db');
ok(season($season[1]), 'an invented season') or BAIL_OUT('no season');

# So many rows of one kind.
sub rows { my ($count, $row) = @_; return "$row\n" x $count }

subtest 'the invented season' => sub {
    my $review = json(qw(review --demo --json), \%now);
    is_deeply($review, json(qw(review --json), @season, \%now), 'is the same whether it is built for the review or in a journal');
    is($review->{schema}, 1, 'schema 1');
    my %fault = map { names($_) => $_ } @{ $review->{faults} };
    is_deeply([sort keys %fault], ['cook C4', 'grain_lot L3 or session N7', 'place closet', 'starter S2'],
        'the planted faults are called, each in its scope, and no other');
    my $pair = $fault{'grain_lot L3 or session N7'};
    ok(!$pair->{told_apart}, 'lot and session cannot be told apart');
    is($pair->{tests}[0]{id}, 'control_vessel', 'and the test that would is named');
    ok($pair->{tests}[0]{bits} > 0.25, 'with what it would tell');
    ok($fault{$_}{told_apart}, "$_ stands alone") for 'cook C4', 'place closet', 'starter S2';
    is($fault{'cook C4'}{causes}[0]{id},    'under_sterilised',     'the short cook is read as one');
    is($fault{'starter S2'}{causes}[0]{id}, 'starter_contaminated', 'and so is the starter');
    is($fault{'cook C4'}{suspects}[0]{why}{level}, 'not enough', 'the physics says why');
    is($fault{'cook C4'}{suspects}[0]{controls}{lost}, 1, 'its vessel without starter counts');
    for my $fault (values %fault) {
        my $saved = $fault->{saved};
        ok($saved->{low} <= $saved->{mean} && $saved->{mean} <= $saved->{high}, names($fault) . ': saved is a range');
        ok($_->{inside}{of} > 0 && $_->{outside}{of} > 0, 'counts stand beside each p') for @{ $fault->{suspects} };
    }
    my ($plan) = @{ $review->{plans} };
    is(scalar @{ $review->{plans} }, 1, 'one plan, for the pair');
    ok($plan->{error} <= 0.1, 'that answers rightly nine times in ten');
    ok((grep { $_->{control} } @{ $plan->{arms} }), 'with a vessel without starter');
    is(scalar @{ $review->{batches} }, 12, 'twelve batches');
    is_deeply([map { $_->{day} } @{ $review->{batches} }], [sort map { $_->{day} } @{ $review->{batches} }], 'in order of time');
    ok($review->{time}{logrank}{p} < 0.001, 'the curves part');
    is($review->{remarks}[0], undef, 'nothing odd');
};

subtest 'in words' => sub {
    # Every p must be that of the counts beside it: the upper hypergeometric tail (Fisher 1935), summed here anew.
    for my $suspect (map { @{ $_->{suspects} } } @{ json(qw(review --json), @season, \%now)->{faults} }) {
        my ($lost, $of)  = @{ $suspect->{inside} }{qw(lost of)};
        my ($more, $all) = ($lost + $suspect->{outside}{lost}, $of + $suspect->{outside}{of});
        my $tail = 0;
        $tail += exp(ln_choose($of, $_) + ln_choose($all - $of, $more - $_) - ln_choose($all, $more))
            for $lost .. ($of < $more ? $of : $more);
        cmp_ok(abs($suspect->{exact_p} / $tail - 1), '<', 1e-6, "$suspect->{says}: p is that of its counts");
        cmp_ok($suspect->{q}, '>=', $suspect->{exact_p}, 'and q is no less');
    }

    my ($status, $out) = run('review', @season, \%now);
    is($status, 0, 'exit 0');
    like($out, qr/^You lost \d+ of 120 vessels/, 'what was lost comes first');
    (my $line = $out) =~ s/\s+/ /g;
    my ($did) = $line =~ /(Likely cause: .*?\. Where it says either, these numbers cannot tell which)/;
    like($did // '', qr/\b$_ \(\S+ (?:\d+ )?%\)/, "then what did it: $_")
        for 'cook C4', 'starter S2', 'place closet', 'either (?:session N7 or grain lot L3|grain lot L3 or session N7)';
    like($out, qr/^Change first: starter S2\. Without it about \d+ vessels \(\d+ to \d+\)/m, 'then what to change');
    cmp_ok(scalar(split /\n/, $out), '<=', 23, 'all of it on a terminal of 24 lines');
    my (undef, $full) = run(qw(review --details), @season, \%now);
    like($full, qr/^By cook$/m, 'details by factor');
    like($full, qr/^Next batch, to tell /m, 'the next batch');
    like($full, qr/^How this is decided$/m, 'and the rule');
    for ([$out, 'brief'], [$full, 'in full']) {
        my ($text, $title) = @$_;
        unlike($text, qr/prove[dns]?\b/i, "$title: nothing is proved");
        my @bare = grep { /\bp (?:0\.|below)/ && !/\d+ of/ } split /\n\s*(?=[A-Z])|\.\s+/, $text;
        is(join('|', grep { !/adjusted for all|from (?:\d+ vessels|\d+ informative)|log-rank|within each/ } @bare), '',
            "$title: no p without counts");
        ok(!(grep { length > 80 } split /\n/, $text =~ s/[^\x00-\x7f]+/?/gr), "$title: fits 80 columns");
    }
    my (undef, $narrow) = run(qw(review --details), @season, { env => { %{ $now{env} }, COLUMNS => 40 } });
    ok(!(grep { length > 40 } split /\n/, $narrow =~ s/[^\x00-\x7f]+/?/gr), 'and 40');
};

my $head = "vessel,lost,cook,starter,shelf,started,ended\n";

subtest 'what is asked of the journal' => sub {
    my ($status, $out) = run(qw(review why did I lose so many jars in march), @season, \%now);
    like($out, qr/Your question is answered from the whole journal.*You lost 53 of 120/s, 'a question is answered from it');
    ($status, $out) = run('review', 'lost 9 of 12, sour within four days', @season, \%now);
    like($out, qr/Understood:/, 'a batch that is told is not in it');
    is(json(qw(review --json b2 B3), @season, \%now)->{totals}{batches}, 2, 'two batches');
    ($status, $out, my $err) = run(qw(review B2 B99), @season, \%now);
    like($err, qr/there is no batch 'B99'/, 'one of them is none');
};

subtest 'cooks that were too short' => sub {
    my %env = (env => { JARSIDE_JOURNAL => scratch() . '/short.db' });
    for my $batch (1 .. 6) {
        my $minutes = $batch < 3 ? 40 : 100;
        my %at = (env => { %{ $env{env} }, JARSIDE_NOW => "2026-03-0${batch}T12:00:00+00:00" });
        run(qw(batch 10 litre jars rye oyster LC 15 psi), $minutes, qw(min --cook new --starter), $batch == 1 ? 'new' : 'S1', \%at);
        $at{env}{JARSIDE_NOW} = '2026-03-20T12:00:00+00:00';
        run('look', "B$batch", $batch < 3 ? '1-8 wet and sour, rest half white, nothing odd' : 'all 70 % white, nothing odd', '--yes', \%at);
        run('discard', "B$batch-$_", \%at) for $batch < 3 ? 1 .. 8 : ();
    }
    my ($status, $out) = run('review', { env => { %{ $env{env} }, JARSIDE_NOW => '2026-04-01T12:00:00+00:00' } });
    like($out =~ s/\s+/ /gr, qr/cook C1 had 40 minutes and a litre jar takes \d+; cook C2 had 40 minutes/, 'are named with their minutes and what it takes');
};

subtest 'a table of my own' => sub {
    my $csv = "Jar;Lost;Cook;Starter;Shelf;Water\n";
    for my $i (1 .. 48) {
        my $cook = 1 + $i % 4;
        my $lost = $cook == 2 ? $i % 6 != 0 : $i % 23 == 0;
        $csv .= join(';', "J$i", ($lost ? 'yes' : 'no'), "K$cook", 'S' . (1 + int($i / 7) % 3), 'top', $i % 3 ? 'hard' : 'soft') . "\r\n";
    }
    my $review = table("\xef\xbb\xbf$csv");
    is(names($review->{faults}[0]), 'cook K2', 'the bad cook is found, semicolons and all');
    is(scalar @{ $review->{faults} }, 1, 'and only that');
    ok((grep { $_->{factor} eq 'Water' } @{ $review->{factors} }), 'a column of my own is a factor');
    is(limits($review), 'no_times', 'without days there are no times');
};

subtest 'two that always went together' => sub {
    my $csv = "fate,starter,cook\n" . rows(9, 'lost,A,K1') . rows(1, 'ok,A,K1') . rows(1, 'lost,B,K2') . rows(9, 'ok,B,K2')
        . rows(10, 'ok,C,K3');
    my $review = table($csv);
    is(names($review->{faults}[0]), 'cook K1 or starter A', 'are named together');
    is($review->{aliases}[0]{together}, 30, 'and said to have gone together');
    ok(!$review->{faults}[0]{told_apart}, 'not told apart');
    $csv = "fate,starter,cook,control\n" . rows(9, 'lost,A,K1,no') . rows(1, 'ok,A,K1,no') . rows(1, 'lost,B,K2,no')
        . rows(9, 'ok,B,K2,no') . rows(10, 'ok,C,K3,no') . rows(4, 'ok,A,K1,yes');
    is(names(table($csv)->{faults}[0]), 'starter A', 'vessels without starter from that cook settle it');
    $csv =~ s/^ok,A,K1,yes/lost,A,K1,yes/mg;
    is(table($csv)->{faults}[0]{suspects}[0]{factor}, 'cook', 'either way');
};

subtest 'what cannot be concluded' => sub {
    my ($status, $out) = said($head);
    is($status, 0, 'no rows: exit 0');
    like($out, qr/nothing to conclude/, 'no rows');
    is(limits(table($head . rows(12, 'a,yes,K1,S1,top,2026-03-01,2026-03-09'))), 'all_lost no_factor', 'everything lost');
    (undef, $out) = said($head . rows(8, 'a,yes,K1,S1,top,2026-03-01,2026-03-09') . rows(8, 'a,yes,K2,S1,top,2026-03-01,2026-03-09'));
    like($out, qr/All of them were lost\. With none that did well there is nothing to compare with/, 'everything lost is said');
    unlike($out, qr/Likely cause/, 'and nobody is blamed');
    (undef, $out) = said($head . rows(9, 'a,no,K1,S1,top,2026-03-01,2026-03-29') . rows(9, 'b,no,K2,S1,top,2026-03-01,2026-03-29'));
    like($out, qr/Nothing was lost/, 'nothing lost');
    my $one = table("lost,batch,place\n" . rows(6, 'yes,B1,a') . rows(6, 'no,B1,b'));
    like(limits($one), qr/one_batch/, 'one batch');
    my $missing = table($head . rows(10, 'a,,K1,S1,top,2026-03-01,') . rows(10, 'b,yes,K2,S2,top,2026-03-01,2026-03-08') . rows(10, 'b,no,K1,S2,top,2026-03-01,2026-03-30'));
    is($missing->{totals}{unrecorded}, 10, 'missing outcomes are counted');
    is($missing->{totals}{counted}{of}, 20, 'and left out');
    my $future = table($head . rows(5, 'a,yes,K1,S1,top,2031-03-01,2031-03-08') . rows(9, 'a,no,K2,S1,top,2026-03-01,2026-03-28'));
    like($future->{remarks}[0], qr/5 vessels have a date in the future/, 'dates in the future are told');
    is($future->{time}{left_out}, 5, 'and left out of times');
    my $young = table("fate,cook,started\n" . rows(9, 'growing,K1,2026-04-28') . rows(9, 'growing,K2,2026-03-01'));
    is($young->{totals}{too_young}, 9, 'young ones are told');
    is($young->{totals}{counted}{of}, 18, 'and count for the days they have lived, as sound so far');
    my $strange = table("fate,cook\nlost,K1\nok,K2\nperhaps,K1\nok,K1\n");
    my $own = table("Jar,Cook,What happened?\n1,K1,green\n2,K1,trich\n3,K2,stalled\n4,K2,binned\n5,K2,g2g\n6,K2,ok\n");
    is_deeply($own->{totals}{counted}, { lost => 4, of => 6 }, "the grower's own words and heading");
    is($own->{totals}{fates}{contaminated}, 2, 'a mould is a contamination');
    like((said("lost?,cook\nhm,K1\nno,K2\nno,K1\n"))[1], qr/None of those whose outcome is known was lost/, 'and nothing is claimed of the others');
    like($strange->{remarks}[0], qr/neither lost nor ok \(the first: 'perhaps'\)/, 'a word that says nothing is told');
    my $few = table("lost,cook\nyes,K1\nno,K2\n");
    like(limits($few), qr/\bfew\b/, 'very few');
    my $since = json(qw(review --json --since 2026-04-01 --csv -), { in => "lost,cook,date\nyes,K1,2026-03-30\nno,K1,2026-04-02\n", %now });
    is($since->{totals}{vessels}, 1, '--since leaves the older ones out');
    my $months = "lost,cook,date\nyes,K1,2026-02-27\nno,K1,2026-03-02\nno,K1,2026-04-29\n";
    for ([March => 2], ['last month', 1], ['this month', 0], ['February 2026', 3], ['last week', 1]) {
        my ($words, $left) = @$_;
        my $of = json(qw(review --json --csv - --since), $words, { in => $months, %now });
        is($of->{totals}{vessels}, $left, "--since '$words'");
    }
};

subtest 'what differs though nothing is called' => sub {
    # Batches that each lose a share of their own, as whole batches do: exact tests see it, the search, which allows for batches
    # that differ, calls none.
    my @lost = (1, 2, 3, 4, 5, 6, 7, 8, 2, 6, 1, 7, 2, 4);
    my $csv = "fate,batch,cook,temperature\n";
    for my $b (0 .. $#lost) {
        $csv .= ($_ <= $lost[$b] ? 'lost' : 'ok') . ",B$b,C$b," . ($b == 4 ? 13 : '') . "\n" for 1 .. 12;
    }
    my $review = table($csv);
    is(scalar @{ $review->{faults} }, 0, 'none is called');
    my ($cook) = grep { $_->{factor} eq 'cook' } @{ $review->{factors} };
    cmp_ok($cook->{q}, '<', 0.05, 'yet cooks differ');
    my (undef, $out) = run(qw(review --csv -), { in => $csv, %now });
    $out =~ s/\s+/ /g;
    unlike($out, qr/too few losses/, 'which the short answer does not deny');
    like($out, qr/Losses differ by [a-z, ]*cook[a-z, ]* more than by chance/, 'but says');
    (undef, $out) = run(qw(review --details --csv -), { in => $csv, %now });
    unlike($out, qr/same for all/, 'what was recorded of some is not claimed of all');
    like($out =~ s/\s+/ /gr, qr/Only one recorded: temperature \(13; of 156 not known\)/, 'of how many it is not known is');
    (undef, $out) = run(qw(review --details --csv -), { in => "fate,shelf\n" . rows(3, 'lost,Xmas 1') . rows(3, 'ok,MWMW 12 Mm'), %now });
    like($out, qr/^  \Q$_\E +[0-9]/m, "$_ stands whole") for 'Xmas 1', 'MWMW 12 Mm';
};

subtest 'something happened on a day' => sub {
    # Batches a week apart from 5 January; from 16 March on every other vessel that stands there is lost.
    my $csv = "fate,batch,begun,ended\n";
    for my $b (0 .. 14) {
        my $day = sub { POSIX::strftime('%Y-%m-%d', gmtime(1767571200 + 86400 * (7 * $b + shift))) };
        for my $v (1 .. 10) {
            my $lost = $v == 1 || ($v % 2 == 0 && $b >= 9);
            $csv .= join(',', $lost ? 'lost' : 'ok', "B$b", $day->(0), $day->($lost ? 5 + $v : 24)) . "\n";
        }
    }
    my $review = json(qw(review --json --csv -), '--changed', 'heater died on 9 March 2026', { in => $csv, %now });
    is($review->{faults}[0]{suspects}[0]{says}, 'vessels since 9 March 2026 (heater died)', 'the days since are called');
    is($review->{faults}[0]{suspects}[0]{factor}, 'change', 'as a change');
    my (undef, $out) = run(qw(review --csv -), { in => $csv, %now });
    unlike($out, qr/heater/, 'and not where nobody told of it');
    (undef, $out) = run(qw(review --csv -), '--changed', 'new sack on 9 February 2026', { in => $csv, %now });
    like($out =~ s/\s+/ /gr, qr/Since 9 February 2026 \(new sack\): \d+ of \d+ lost; Before/, 'one that does not stand out is told, too');
    refused('no such day', 2, qr/names no day with vessels before and after it/, qw(review --csv -), '--changed', 'heater died', { in => $csv });
};

subtest 'thousands of levels' => sub {
    my $csv = "jar,serial,lost,cook,starter\n";
    $csv .= join(',', "J$_", $_, ($_ % 9 == 0 ? 'yes' : 'no'), 'K' . int($_ / 3), 'S' . $_ % 7) . "\n" for 1 .. 9000;
    my $review = table($csv);
    is($review->{totals}{counted}{of}, 9000, 'all are counted');
    like($review->{remarks}[0], qr/Column 'serial' is left out/, 'a number for each vessel is no factor');
    is(scalar @{ $review->{faults} }, 0, 'and nothing is called by chance');
};

subtest 'tables that are off' => sub {
    my @csv = qw(review --csv -);
    refused('another shape', 65, qr/^input:1:1: error: no column says what became of each vessel.*Found: month, jars made, jars lost$/m,
        @csv, { in => "month,jars made,jars lost\nMay,10,3\n" });
    refused('empty', 65, qr/^input: error: this is empty/m, @csv, { in => '' });
    refused('no word understood', 65, qr/column 'result' says neither lost nor ok in any row \(the first: 'blue'\)/, @csv, { in => "result,cook\nblue,K1\nred,K2\n" });
    refused('a stray comma', 65, qr/^input:2:8: error: more fields than the 2 columns/m, @csv, { in => "lost,cook\nyes,K1,my,x\n" });
    refused('an open quote', 65, qr/^input:3:1: error: a quote .* never closed/m, @csv, { in => qq(lost,cook\nyes,"K1\n) });
    refused('binary', 65, qr/error/, @csv, { in => join '', map { chr } 0 .. 255 });
    refused('absent', 74, qr/cannot be opened/, qw(review --csv /nonexistent/table.csv));
    refused('a folder', 74, qr/cannot be read/, qw(review --csv /));
    refused('both', 2, qr/not both/, qw(review --demo --csv x.csv));
    refused('an operand', 2, qr/--csv table\.csv/, qw(review table.csv));
    refused('no day', 2, qr/not a date I can read: '--since soon'/, qw(review --demo --since soon));
    refused('no journal', 74, qr/no journal at/, qw(review));
    my ($status, $out) = said("lost,cook\nyes,\e[31mK1\nno,\xff\xfe\nno,K3\n");
    is($status, 0, 'hostile names are read');
    unlike($out, qr/\e/, 'and cannot reach the terminal');
    ok(table("lost,cook\nyes,\e[31mK1\nno,\xff\xfe\nno,K3\n"), 'and are JSON');
};

done_testing;
