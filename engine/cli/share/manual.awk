# SPDX-License-Identifier: GPL-3.0-or-later
# Manual pages (roff) from Markdown, as far as `jarside manual` and rules/FORMAT.md use it, into the folder `to`.

# `Code` and **strong** in bold, of a [link](path) its words; no byte of the words begins a request or an escape.
function words(line,    link, bold) {
    line = plain(line)
    while (match(line, /\[[^]]*\]\([^)]*\)/)) {
        link = substr(line, RSTART + 1, index(substr(line, RSTART), "](") - 2)
        line = substr(line, 1, RSTART - 1) link substr(line, RSTART + RLENGTH)
    }
    while (match(line, /`|\*\*/))
        line = substr(line, 1, RSTART - 1) ((bold = !bold) ? "\\fB" : "\\fR") substr(line, RSTART + RLENGTH)
    return line (bold ? "\\fR" : "")
}

function plain(line) {
    gsub(/\\/, "\\e", line)
    gsub(/-/, "\\-", line)
    return (line ~ /^[.']/ ? "\\&" : "") line
}

function put(line) { print line > page }

/^% / && !code {
    if (page != "") close(page)
    page = to "/man" $3 "/" $2 "." $3
    put(".TH \"" $2 "\" " $3 " \"\" \"jarside " $4 "\"")
    summary = substr($0, length($1 $2 $3 $4) + 5)
    put(".SH NAME\n" words($2) " \\- " words(summary))
    next
}
{ row = /^\|/ && !code ? row + 1 : 0; last = before; before = $0 }
/^```/ { put((code = !code) ? ".PP\n.RS 4\n.nf" : ".fi\n.RE\n.PP"); next }
code { put($0 == "" ? " " : plain($0)); next }
/^# / || row == 1 || row == 2 { next }  # the name of the page says it; the heading of a table, and its rule
/^## / { put(".SH " words(substr($0, 4))); next }
row {
    count = split(substr($0, 3, length($0) - 4), cells, / \| /)
    if (match(cells[1], /<.*>$/))
        cells[1] = substr(cells[1], 1, RSTART - 1) "\001" substr(cells[1], RSTART + 1, RLENGTH - 2) "\002"
    put(".TP")
    for (i = 1; i <= count; i++) {
        cells[i] = words(cells[i])
        sub(/\001/, "\\fI", cells[i])
        sub(/\002/, "\\fR", cells[i])
        put(cells[i])
    }
    next
}
/^$/ { if (last != "") put(".PP"); next }
/^- / { put(".IP \\(bu 2\n" words(substr($0, 3))); next }
{ sub(/^ +/, ""); put(words($0)) }
END { put(".SH SEE ALSO\n.BR jarside\\-rules\\-check (1)") }

