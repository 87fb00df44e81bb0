#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# Who may know whom: includes go one way, and internal headers never leave their folder.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use House qw(top files content code line_of);
use Test::More;

# The order stands in the Makefile, once.
my ($layers) = content('Makefile') =~ /^LAYERS\s*:=\s*(.+?)\s*$/m;
ok($layers, 'the Makefile names the layers') or BAIL_OUT('no LAYERS in the Makefile');
my @layers = split ' ', $layers;
my %rank   = map { $layers[$_] => $_ } 0 .. $#layers;
my %apart  = (process => 'reason', reason => 'process');

# Why `from` may not include `to`; nothing when it may.
sub objection {
    my ($from, $to) = @_;
    my ($from_layer) = $from =~ m{^engine/([^/]+)/};
    my ($to_layer)   = $to   =~ m{^([^/]+)/};
    return "'$to' is not below engine/" unless -f top() . "/engine/$to";
    return "'$to' lies in no layer" unless defined $to_layer && exists $rank{$to_layer};
    return "an internal header does not cross a folder"
        if $to =~ /_internal\.h$/ && ($from_layer // '') ne $to_layer;
    return unless defined $from_layer;    # main.c stands above all
    return "'$from_layer' is not in the Makefile's LAYERS" unless exists $rank{$from_layer};
    return "'$from_layer' lies below '$to_layer'" if $rank{$to_layer} > $rank{$from_layer};
    return "'$from_layer' and '$to_layer' do not see each other"
        if ($apart{$from_layer} // '') eq $to_layer;
    return;
}

my @files = files(qr/\.[ch]$/, 'engine');
cmp_ok(scalar @files, '>', 10, 'there are sources to look at');
for my $file (@files) {
    my @wrong;
    my $text = code(content($file));
    while ($text =~ /^[ \t]*#[ \t]*include[ \t]*(?:"([^"\n]*)"|<([^>\n]*)>)/mg) {
        my ($ours, $theirs, $line) = ($1, $2, line_of($text, $-[0]));
        if (defined $theirs) {
            push @wrong, "$file:$line: <$theirs> is ours; use quotes" if -f top() . "/engine/$theirs";
            next;
        }
        my $why = objection($file, $ours);
        push @wrong, "$file:$line: includes \"$ours\": $why" if $why;
    }
    is(join("\n", @wrong), '', "$file includes what it may");
}

# Tests may look at any public header, and at no internal one of another folder than they test.
for my $file (files(qr/\.[ch]$/, 'tests/unit', 'tests/outside')) {
    my @internal = content($file) =~ m{^\s*#\s*include\s*"([^"\n]+_internal\.h)"}mg;
    my ($part) = $file =~ m{/([a-z]+)_};
    my @foreign = grep { !m{^\Q$part\E/} } @internal;
    is("@foreign", '', "$file keeps to its own folder's internal headers");
}

# The test itself: it must be able to fail.
like(objection('engine/base/x.c', 'rules/rules.h'), qr/lies below/, 'an upward include is found');
like(objection('engine/reason/x.c', 'process/heat.h'), qr/do not see/, 'so is one across');
is(objection('engine/triage/x.c', 'reason/reason.h'), undef, 'a downward one is fine');

done_testing;
