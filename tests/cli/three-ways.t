#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# The same words about the same vessel of the journal: 'judge --vessel', 'look' and the conversation come to the same. And the conversation
# starts from what is on record, which it never asks for again.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use File::Copy qw(copy);
use IO::Pty;
use Jarside;
use Test::More;

plan skip_all => 'no pseudo-terminals here' unless eval { IO::Pty->new };

my $scratch = scratch();
my %env     = (JARSIDE_NOW => '2026-04-22T18:00:00Z', JARSIDE_JOURNAL => "$scratch/j.db");
ok(season("$scratch/demo.db"), 'an invented season');

sub afresh { unlink glob "$scratch/j.db*"; copy("$scratch/demo.db", "$scratch/j.db") or die $! }

# What a screen says of the action, the contents and why.
sub told {
    my ($screen) = @_;
    my @verdicts = split /^(?=(?:Keep|Isolate|Discard closed): )/m, $screen;
    my ($told) = ($verdicts[-1] // '') =~ /^(.*?)(?=^(?:!|What to do|Seen before|Not understood|- ))/ms;
    return ($told // $screen) =~ s/\s+/ /gr;
}

my @vessels = qw(B3-11 B9-5 B12-11);
my @remarks = ('white all over, no odd patches, no smell', 'wet grey patch at the bottom, sour smell', 'green powder by the port', 'nothing white yet, grain loose and matt',
    'half white, has not moved for a week');
for my $vessel (@vessels) {
    for my $remark (@remarks) {
        afresh();
        my ($status, $judged, $err) = run('judge', '--vessel', $vessel, $remark, { env => \%env });
        is($status, 0, "$vessel, '$remark': judged") or diag $err;
        like(told($judged), qr/^(?:Keep|Isolate|Discard closed): .*Most likely inside/, 'with a verdict');
        my (undef, $looked) = run('look', $vessel, $remark, { env => \%env });
        is(told($looked), told($judged), "$vessel, '$remark': look says what judge says");
        afresh();
        my ($talked) = talk([ $remark, 'verdict', 'leave' ], { env => \%env, args => [ 'look', $vessel ] });
        is(told($talked =~ s/^> leave.*//msr), told($judged), "$vessel, '$remark': and so does the conversation") or diag $talked;
        like($talked, qr/^Saved: look/m, "$vessel, '$remark': which saves the look");
    }
}

# What records know is not asked.
for my $vessel (@vessels) {
    afresh();
    my $known = json('judge', '--vessel', $vessel, '--json', { env => \%env })->{understood};
    my %known = map { $_->{sign} => 1 } grep { $_->{origin} eq 'journal' } @$known;
    my $rules = join '', map { my $file = $_; open(my $from, '<', $file) or die $!; local $/; <$from> } glob project_root() . '/rules/{signs,circumstances}/*.yaml';
    my @asks  = map { $rules =~ /^  \Q$_\E:\n(?:    .*\n)*?    ask: ['"]?(.*\?)/m ? $1 : () } sort keys %known;
    cmp_ok(scalar @asks, '>', 3, "$vessel: the records know something");
    my $questions = 0;
    my ($talked) = talk_by(sub {
        my ($page) = @_;
        return '' if $page =~ /\(Enter for more\) \z/ || !$questions++;
        return 'leave' if $questions > 14 || $page =~ /no more questions/;
        return '' if $page =~ /about the cause/;
        return 'idk';
    }, { env => \%env, args => [ 'look', $vessel ] });
    my $flat = $talked =~ s/\s+/ /gr;
    my @asked = grep { index($flat, $_) >= 0 } @asks;
    is("@asked", '', "$vessel: and none of it is asked again") or diag $talked;
}

done_testing;
