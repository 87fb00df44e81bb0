#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# Calls that are not made, things that are not done below their place, and headers that explain.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use House qw(files content code without_strings line_of);
use Test::More;

# Without a bound, without an error, or through a shell: each has a better sibling.
my $unsafe = qr/\b(gets|strcpy|strcat|stpcpy|sprintf|vsprintf|strtok|strtok_r|atoi|atol|atoll|atof
                  |system|popen|fork|vfork|execv|execve|execvp|execvpe|execl|execlp|execle|posix_spawnp?
                  |wordexp|dlopen|sqlite3_load_extension|sqlite3_enable_load_extension|tmpnam|tempnam|mktemp|alloca|rand|srand|asctime|ctime|gmtime
                  |localtime)\s*\(/x;

# Below the view nothing prints, nothing ends the program, nothing asks for the time.
my $speaking = qr/\b(v?printf|puts|putchar|perror|exit|_exit|_Exit|abort|getenv|isatty)\s*\(
                 |\b(stdout|stderr)\b/x;

# Pure functions of their arguments: no files either.
my $outside = qr/\b(fopen|open|read|write|fread|fwrite|time|clock|clock_gettime|getline|opendir
                   |setlocale)\s*\(/x;

sub calls {
    my ($file, $text, $pattern) = @_;
    my @calls;
    while ($text =~ /$pattern/g) {
        push @calls, "$file:" . line_of($text, $-[0]) . ': ' . ($1 // $2);
    }
    return join "\n", @calls;
}

# Readline calls back without a context, and so does a signal: there is no other place for these two.
# Requests for memory come from anywhere, and where one is refused nobody knows what is being written.
my %allowed = (
    'engine/prompt/input.c' => { current => 1, caught => 1 },
    'engine/base/memory.c'  => { restore_terminal => 1, ending => 1 },
    'engine/base/filing.c'  => { unfinished => 1 },
);

# Variables at file level that are not constant.
sub globals {
    my ($file, $text) = @_;
    my @globals;
    while ($text =~ /^((?:static\s+)?[A-Za-z_][\w \t*]*?[\s*](\w+)(?:\[[^\]\n]*\])*)\s*(?:=|;)/mg) {
        my ($declaration, $name, $line) = ($1, $2, line_of($text, $-[0]));
        next if $declaration =~ /^\s*(?:typedef|struct\s+\w+$|enum\s+\w+$|union\s+\w+$|extern|return|goto)/;
        next if $declaration =~ /\bconst\b/ && $declaration !~ /\*\s*\w+(?:\[[^\]\n]*\])*$/;
        push @globals, "$file:$line: $name" unless $allowed{$file}{$name};
    }
    return join "\n", @globals;
}

for my $file (files(qr/\.[ch]$/, 'engine')) {
    my $text = without_strings(content($file));
    my ($layer) = $file =~ m{^engine/([^/]+)/};
    my $unsafe_calls = calls($file, $text, $unsafe);
    # The grower's own pager is the one program that is called, without a shell.
    $unsafe_calls =~ s/^\S+: posix_spawnp$//m if $file eq 'engine/cli/app.c';
    is($unsafe_calls, '', "$file calls nothing unbounded");
    if (($layer // '') =~ /^(?:base|rules|language|process|reason|triage|review)$/) {
        my $calls = calls($file, $text, $speaking);
        # Where the rules are, what time it is, in which units to show: one file each asks the environment.
        $calls =~ s/^\S+: getenv$//mg if $file =~ m{^engine/(?:rules/rules|base/dates|base/units)\.c$};
        # Lack of memory ends the program, from one place.
        $calls =~ s/^\S+: _exit$//mg if $file eq 'engine/base/memory.c';
        $calls =~ s/^\n+|\n+$//g;
        is($calls, '', "$file neither prints nor ends the program");
    }
    if (($layer // '') =~ /^(?:process|reason)$/) {
        is(calls($file, $text, $outside), '', "$file is pure");
    }
    is(globals($file, $text), '', "$file has no variable at file level");
    # A decimal comma in a locale would turn every number in a file or in JSON into another one.
    my @locales = grep { !/^\s*LC_CTYPE\b/ } $text =~ /\bsetlocale\s*\(([^)]*)\)/g;
    is("@locales", '', "$file sets no locale but LC_CTYPE");
}

# ---- headers say what their functions do --------------------------------------------------------

# A function is explained by a comment above it or on its line; a comment explains every
# declaration up to the next empty line.
sub unexplained {
    my ($text) = @_;
    my @missing;
    my $explained = 0;
    my $depth     = 0;    # inside the braces of a type
    my $comment   = 0;
    my $pending   = '';
    for my $line (split /\n/, $text =~ s/\\\n/ /gr) {    # a macro is one line
        my $bare = $line;
        if ($comment) { $comment = 0 if $bare =~ s{^.*?\*/}{}; next if $comment; $explained = 1 }
        $explained = 1 if $bare =~ m{/\*|//};
        $bare =~ s{/\*.*?\*/}{}g;
        $bare =~ s{//.*}{};
        if ($bare =~ s{/\*.*}{}) { $comment = 1 }
        $explained = 0 if $line =~ /^\s*$/;
        $depth += ($bare =~ tr/{//) - ($bare =~ tr/}//);
        next if $depth || $bare =~ /^\s*(?:#|$)/;
        $pending .= " $bare";
        next unless $bare =~ /;\s*$/;
        my $declaration = $pending;
        $pending = '';
        next if $explained || $declaration =~ /\btypedef\b/;
        push @missing, $1 if $declaration =~ /^\s*[A-Za-z_][\w\s*]*?\b(\w+)\s*\([^()]*(?:\([^()]*\)[^()]*)*\)/;
    }
    return @missing;
}

for my $file (grep { !/_internal\.h$/ } files(qr/\.h$/, 'engine')) {
    my @missing = unexplained(content($file));
    is("@missing", '', "$file says what its functions do");
}

# ---- the checks themselves can fail -------------------------------------------------------------

isnt(calls('x', 'strcpy (a, b);', $unsafe), '', 'an unbounded copy is found');
isnt(calls('x', 'execvp(a, b);', $unsafe), '', 'so is a program that is called');
is(calls('x', 'snprintf(a, b, c); my_system(d);', $unsafe), '', 'its better sibling is fine');
isnt(globals('x', "static int count;\n"),            '', 'a static variable is found');
isnt(globals('x', "static const char *name = 0;\n"), '', 'so is a pointer that may be changed');
is(globals('x', "static const char *const NAMES[] = {0};\n"), '', 'a constant table is fine');
is(join(',', unexplained("int a(void);\n\n/* b. */\nint b(void);\nint c(int (*f)(int));\n")),
    'a', 'a function without a word is found');

done_testing;
