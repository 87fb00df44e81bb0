#!/usr/bin/perl
# SPDX-License-Identifier: GPL-3.0-or-later
# What stands at the top, and that every file says under which licence it is given.
use strict;
use warnings;
use FindBin;
use lib $FindBin::Bin;
use House qw(top files content code line_of);
use Test::More;

my %agreed = map { $_ => 1 }
    qw(engine rules tests corpus Makefile README.md DEVELOPERS.md SAFETY.md);
opendir my $folder, top() or BAIL_OUT("cannot read the top level: $!");
my @strangers = sort grep { !/^\./ && !$agreed{$_} } readdir $folder;
is("@strangers", '', 'the top level holds the agreed entries and dotfiles, no more');
ok(-e top() . "/$_", "$_ is there") for qw(engine rules tests Makefile README.md);

# Sources, headers, tests, scripts with or without a suffix, and the Makefile.
my @sources = (files(qr/\.(?:[ch]|t|pm|pl|py|sh)$/, 'engine', 'tests'), 'Makefile');
my @scripts = grep { !m{^corpus/fuzz/} && content($_) =~ /^#!/ } files(qr{/[^./]+$}, 'engine', 'tests', 'corpus', '.ci');
for my $file (@sources, @scripts) {
    my @head = (split /\n/, content($file), 4)[0 .. 2];
    ok((grep { defined && /SPDX-License-Identifier: GPL-3\.0-or-later\b/ } @head),
        "$file names its licence in its first lines");
}
for my $file (@scripts, grep {/\.t$/} @sources) {
    like(content($file), qr/\A#!/, "$file says what runs it") if $file =~ /\.t$/;
}

# A header is guarded by its own path; a folder's name that its file repeats may be left out.
for my $file (files(qr/\.h$/, 'engine')) {
    my $path  = $file =~ s{^engine/}{}r =~ s{^(\w+)/(?=\1_)}{}r;
    my @names = map { uc('jarside_' . $_) =~ s/[^A-Z0-9]/_/gr } $path, $file =~ s{^engine/}{}r;
    my ($guard, $again) = content($file) =~ /^#ifndef (\w+)\n#define (\w+)\n/m;
    ok($guard && $guard eq $again && (grep { $_ eq $guard } @names), "$file is guarded by $names[0]");
}

# One subject a file: short enough to be read at a sitting. Tables of data are not read through.
for my $file (files(qr/\.[ch]$/, 'engine')) {
    my $lines = () = content($file) =~ /\n/g;
    cmp_ok($lines, '<=', 1500, "$file has at most 1500 lines");
}

done_testing;
