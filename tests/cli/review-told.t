#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# `jarside review "I lost 9 of 12 ..."`: a bad batch that was never kept in a journal, told in words or asked for.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use Jarside;
use Test::More;

sub told { return json(qw(review --json), @_) }
sub pair { my ($counts) = @_; return "$counts->{lost} of $counts->{of}" }

subtest 'how many' => sub {
    my @sayings = (
        ['I lost 9 of 12, sour', '9 of 12', '0 of 0'],
        ['all but two of my 10 bags went green', '8 of 10', '0 of 0'],
        ['8 of 8 lost, and 3 of 3 controls too', '8 of 8', '3 of 3'],
        ["half of my dozen jars won't grow", '6 of 12', '0 of 0'],
        ['7 out of the 15 litre jars are mush', '7 of 15', '0 of 0'],
        ['Ran 16 bags, five lost', '5 of 16', '0 of 0'],
        ['eight bags, all of them went green; both controls are clean', '8 of 8', '0 of 2'],
        ['Out of 18 jars 7 have pin mould', '7 of 18', '0 of 0'],
        ['I shook 14 jars at 10 percent. Ten of them never came back', '10 of 14', '0 of 0'],
        ['None of the nine shows growth', '9 of 9', '0 of 0'],
        ['two jars that I never inoculated have it too. Lost 5 of 14', '5 of 14', '2 of 2'],
        ['twelve bags at 15 psi for 90 minutes, nine are bad', '9 of 12', '0 of 0'],
        ['every one of my six jars rotted', '6 of 6', '0 of 0'],
        ['4 of 10 are lost; the one control is fine', '4 of 10', '0 of 1'],
        ['my jar went sour on day 4 after 90 minutes at 15 psi', '0 of 0', '0 of 0'],
        ['bags are slow at 13 C, three weeks now', '0 of 0', '0 of 0'],
    );
    for (@sayings) {
        my ($words, $lost, $controls) = @$_;
        my $answer = told($words);
        is(pair($answer->{counted}) . ', ' . pair($answer->{controls}), "$lost, $controls", $words);
    }
};

# Invented accounts with the causes an experienced grower holds likeliest, first first. Those of measured.jsonl were written before
# any rule, phrase or line of this was read by their writer, and are for measuring only; those of blind.jsonl by one who saw nothing
# of the program but the ids of the causes, and their words are not in the table.
sub score {
    my ($file) = @_;
    my ($all, $first, $three) = (0, 0, 0);
    open(my $lines, '<:raw', project_root() . "/corpus/accounts/$file.jsonl") or die $!;
    while (my $line = <$lines>) {
        my $account = decode_json($line);
        my @ids = map { $_->{id} } @{ told($account->{text})->{causes} }[0 .. 2];
        my $best = qr/^(?:@{[ join '|', @{ $account->{causes} } ]})$/;
        $all++;
        $first += ($ids[0] // '') =~ $best;
        $three += !!grep { ($_ // '') =~ $best } @ids;
    }
    return ($all, $first, $three);
}

subtest 'accounts of bad batches' => sub {
    my ($all, $first, $three) = score('measured');
    is($all, 12, 'twelve to measure by');
    cmp_ok($first, '>=', 9, "the cause comes first in at least nine: $first");
    cmp_ok($three, '>=', 11, "and is among three in at least eleven: $three");
    ($all, $first, $three) = score('blind');
    is($all, 36, 'three dozen that nobody here wrote');
    cmp_ok($first, '>=', 27, "the cause comes first in three of four: $first");
    cmp_ok($three, '>=', 33, "and is among three in eleven of twelve: $three");
    ($all, $first, $three) = score('worked-with');
    cmp_ok($three, '==', $all, 'of the others all are among three');
    cmp_ok($first, '>=', $all - 2, "and all but two come first: $first of $all");
};

subtest 'an answer' => sub {
    for my $bare ('I lost 3 of 10', '8 of 8 lost', 'all but two of my 10 bags are gone') {
        is_deeply(told($bare)->{causes}, [], "$bare: points to no cause");
    }
    my $sum = 0;
    $sum += $_->{p} for @{ told('10 of 12 sour and slimy within 4 days')->{causes} };
    ok($sum > 0.9 && $sum <= 1, 'else the causes are shares of one, but for those too small to be listed');
    my $cook = 'Sour and slimy on day 3, all wet low. I cooked 40 minutes at 15 psi.';
    my $answer = told("8 of 8 lost and 3 of 3 controls too. $cook");
    is($answer->{causes}[0]{id}, 'under_sterilised', 'all of them and the controls: the cook');
    cmp_ok($answer->{causes}[0]{p}, '>', 0.9, 'and little doubt');
    cmp_ok(scalar @{ $answer->{tests} }, '>=', 1, 'with a test');
    cmp_ok(scalar @{ $answer->{how} }, '>=', 1, 'and what to change');
    my $clean = told("8 of 8 lost, 3 of 3 controls are fine. $cook");
    cmp_ok($clean->{causes}[0]{p}, '<', $answer->{causes}[0]{p}, 'sound controls speak for the cook');
    my ($status, $out) = run('review', "8 of 8 lost and 3 of 3 controls too. $cook");
    is($status, 0, 'on a screen');
    like($out, qr/8 of 8 lost, and 3 of 3 uninoculated controls lost\./, 'what was counted');
    like($out, qr/Most likely causes:\n  - Not cooked.*\nTo be sure: .*\nChange first: /s, 'causes, test, change, in this order');
};

subtest 'what is heard and advised' => sub {
    my ($status, $out) = run('review', "10 of 12 sour and slimy within 4 days, PC'd 50 minutes at 15 psi");
    like($out =~ s/\s+/ /gr, qr/Change first: Give it the minutes it needs.* a quart or litre jar 90 minutes/, 'a short cook: more minutes come first');
    ($status, $out) = run('review', 'lost 3 of 10 to trichoderma');
    unlike($out, qr/Not understood:.*trichoderma/, 'the name of a mould is understood');
    for (['trichoderma', 'green_mould'], ['penicillium', 'blue_green_mould'], ['rhizopus', 'pin_mould'], ['neurospora', 'orange_mould']) {
        my ($name, $finding) = @$_;
        my $judged = json('judge', '--json', $name);
        my ($likely) = sort { $b->{p} <=> $a->{p} } @{ $judged->{findings} };
        is($likely->{id}, $finding, "$name is what the rules also call it");
        isnt($judged->{action}, 'keep', 'and not kept');
    }
    isnt(json('judge', '--json', 'is this trichoderma?')->{action}, 'discard', 'who asks has not said so');
    is(json('judge', '--json', 'all white and clean, no trichoderma')->{action}, 'keep', 'nor has who denies it');
};

subtest 'a conversation' => sub {
    my $folder = scratch();
    my $args = [ 'review', '--journal', "$folder/none.db" ];
    my ($screen, $status) = talk(['I lost 9 of 12, all sour and wet at the bottom by day 4', '', '1'], { args => $args });
    is($status, 0, 'ends well');
    like($screen, qr/What did the lost ones have that the good ones had not\?/, 'asks first what the lost ones share');
    like($screen, qr/9 of 12 lost\.\s+Most likely causes:/, 'an answer, with what it took from the first one');
    my $asked = () = ($screen) = talk([('') x 20], { args => $args });
    my $questions = () = $screen =~ /^.*\?$/gm;
    cmp_ok($questions, '<=', 8, "at most eight questions: $questions");
    like($screen, qr/How many were lost, of how many\?/, 'asks for the number when it was not said');
    ok(!-e "$folder/none.db", 'and begins no journal');
    ($status, my $out, my $err) = run(@$args);
    is($status, 74, "no terminal, no conversation");
    like($err, qr/journal/, 'says what is missing');
};
subtest 'one batch of a journal, or of a table' => sub {
    my %now = (env => { JARSIDE_NOW => '2026-05-01T12:00:00+00:00' });
    my $season = scratch() . '/season.db';
    ok(season($season), 'an invented season');
    my $b6 = json(qw(review B6 --json --journal), $season, \%now);
    is(pair($b6->{totals}{counted}), '7 of 10', 'only that batch');
    is($b6->{account}{causes}[0]{id}, 'under_sterilised', 'its signs and its control say the cook');
    ok(!(grep { $_->{id} eq 'control_vessel' } @{ $b6->{account}{tests} }), 'no test that was done is advised');
    is(json(qw(review b2 --json --journal), $season, \%now)->{account}{causes}[0]{id}, 'starter_contaminated', 'and of another the starter');
    my $table = join "\n", 'batch,lost,position,lid,order,grams,spot,bag lot',
        map { join ',', 'B1', ($_ > 14 || $_ == 3 ? 'yes' : 'no'), ($_ % 2 ? 'mid' : 'edge'), ($_ % 3 ? 'foil' : 'disc'), $_, 900 + $_ % 4, 'left', 'M1' } 1 .. 20;
    my $order = json(qw(review --json --csv -), { in => "$table\n", %now });
    is($order->{faults}[0]{suspects}[0]{factor}, 'order of inoculation', 'within one batch the order stands out');
    is($order->{faults}[0]{suspects}[0]{level}, '14 to 20', 'its last third');
    is_deeply([grep { /lid|grams|spot|bag/ } sort map { $_->{factor} } @{ $order->{factors} }],
        ['bag lot', 'grams of grain', 'lid', 'spot on the shelf'], 'lid, grams, spot and bag lot are compared too');
    is($order->{account}, undef, 'with no sign at all no cause is named');
    my ($status, $out) = run(qw(review --csv -), { in => "$table\n", %now });
    unlike($out, qr/Too (?:cold|warm)|Contaminated starter/, 'on the screen neither');
};

done_testing;
