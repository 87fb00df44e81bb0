#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# The looks that are due as a calendar, read back by a library of other people (icalendar for Python). Every record is
# invented.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use Jarside;
use Test::More;

my $python = '/usr/bin/python3';
plan skip_all => 'python3-icalendar is not there' if system("$python -c 'import icalendar' 2>/dev/null") != 0;

my $scratch = scratch();
my @journal = ('--journal', "$scratch/journal.db");
my %at = (env => { JARSIDE_NOW => '2026-03-20T18:00:00+01:00' });

sub slurp { open(my $from, '<:raw', $_[0]) or return undef; local $/; return scalar <$from> }
sub spew { my ($file, $bytes) = @_; open(my $to, '>:raw', $file) or die "$file: $!"; print {$to} $bytes; close $to }

spew("$scratch/read.py", <<'PYTHON');
import icalendar, json, sys
calendar = icalendar.Calendar.from_ical(open(sys.argv[1], 'rb').read())
events = []
for event in calendar.walk('VEVENT'):
    assert not event.errors, event.errors
    alarms = [alarm['TRIGGER'].dt.total_seconds() for alarm in event.walk('VALARM')]
    events.append({'uid': str(event['UID']), 'start': event['DTSTART'].dt.isoformat(), 'end': event['DTEND'].dt.isoformat(),
                   'stamp': event['DTSTAMP'].dt.isoformat(), 'summary': str(event['SUMMARY']),
                   'description': str(event['DESCRIPTION']), 'alarms': alarms})
print(json.dumps({'version': str(calendar['VERSION']), 'prodid': str(calendar['PRODID']), 'events': events}))
PYTHON

sub read_back {
    my ($file) = @_;
    my $said = `$python '$scratch/read.py' '$file' 2>&1`;
    is($?, 0, 'the other library reads it') or return diag($said), undef;
    return decode_json($said);
}

my $evil = "B,2;\\q\"=\e[31mx";
my $wide = "\xe7\x9b\xb8" x 40;    # three bytes a character: a fold may fall into none of them
mkdir "$scratch/in";
(my $quoted = $evil) =~ s/"/""/g;
spew("$scratch/in/batch.csv", "label,at\r\nB1,2026-03-01T12:00:00+01:00\r\n\"$quoted\",2026-03-02T12:00:00+01:00\r\n$wide,2026-03-02\r\n");
spew("$scratch/in/vessel.csv", "label,batch,number,due,due_for\r\n"
    . "B1-1,B1,1,2026-03-21,shake\r\nB1-2,B1,2,2026-03-21,\r\nB1-3,B1,3,2026-03-29,use_first\r\nB1-4,B1,4,,\r\n"
    . "x1,\"$quoted\",1,2026-03-21,\r\n" . join('', map { "$wide$_,$wide,$_,2026-04-01,\r\n" } 1 .. 30));
my ($status, $out, $err) = run('import', "$scratch/in", @journal, \%at);
is($status, 0, 'a journal') or diag $err;

($status, $out, $err) = run('due', '--ics', "$scratch/due.ics", @journal, \%at);
is($status, 0, 'a calendar') or diag $err;
like($out, qr/^4 days of looks/, 'says how many');
my $bytes = slurp("$scratch/due.ics");
is(scalar(grep { length > 75 } split /\r\n/, $bytes), 0, 'no line is longer than 75 bytes');
is(scalar(grep { !utf8::decode(my $line = $_) } split /\r\n/, $bytes), 0, 'no line is cut within a character');
unlike($bytes =~ s/\r\n//gr, qr/[\r\n]/, 'every line ends in CR LF');
unlike($bytes, qr/[\x00-\x09\x0b\x0c\x0e-\x1f]/, 'no control character is in it');
my $calendar = read_back("$scratch/due.ics");
is($calendar->{version}, '2.0', 'its version');
my @events = @{ $calendar->{events} };
is(scalar @events, 4, 'one entry a batch and day');
is_deeply([map { $_->{start} } @events], [qw(2026-03-21 2026-03-21 2026-03-29 2026-04-01)], 'in order of days');
is($events[2]{end}, '2026-03-30', 'which end on the next');
is($events[0]{summary}, 'Look at B1: 2 vessels', 'what is to be done');
is($events[0]{description}, 'B1-1 (shake), B1-2', 'and at which');
is($events[2]{description}, 'B1-3 (use first)', 'and why');
like($events[1]{summary}, qr/^Look at B,2;\\q"=.\[31mx: 1 vessel$/s, 'what is special to the format comes back as it was');
is(length $events[3]{description}, 30 * 40 + 9 * 1 + 21 * 2 + 29 * 2, 'and so do long ones');
is($events[0]{stamp}, '2026-03-20T17:00:00+00:00', 'the stamp is when it was written, in UTC');
is_deeply($events[0]{alarms}, [], 'no alarm unless asked for');
my %uids = map { $_->{uid} => 1 } @events;
is(scalar keys %uids, 4, 'each has its own UID');

($status) = run('due', '--ics', "$scratch/due.ics", @journal, \%at);
is($status, 74, 'a file that exists is not replaced');
($status) = run('due', '--force', '--remind', '09:30', '--ics', "$scratch/due.ics", @journal, { env => { JARSIDE_NOW => '2026-03-21T08:00:00Z' } });
is($status, 0, 'unless told to');
my $again = read_back("$scratch/due.ics");
is_deeply([map { $_->{uid} } @{ $again->{events} }], [map { $_->{uid} } @events], 'UIDs stay');
is_deeply($again->{events}[0]{alarms}, [9.5 * 3600], 'an alarm at half past nine');
(undef, $out) = run('due', '--ics', '-', @journal, \%at);
is($out, $bytes, 'the same journal and time give the same bytes');
($status, undef, $err) = run('due', '--remind', '25:00', '--ics', '-', @journal, \%at);
is($status, 2, 'no such time');

subtest 'nothing due' => sub {
    spew("$scratch/place.csv", "label\r\nshelf\r\n");
    run('import', "$scratch/place.csv", '--journal', "$scratch/empty.db", \%at);
    my ($status, $out) = run('due', '--ics', "$scratch/none.ics", '--journal', "$scratch/empty.db", \%at);
    is($status, 0, 'is a calendar still');
    like($out, qr/Nothing is due/, 'and is told');
    is_deeply(read_back("$scratch/none.ics")->{events}, [], 'without entries');
};

done_testing;
