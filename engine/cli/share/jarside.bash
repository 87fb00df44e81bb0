# SPDX-License-Identifier: GPL-3.0-or-later
# Only asks 'jarside complete' for the words; where there is none, the shell offers files.
_jarside() {
    local word
    COMPREPLY=()
    while IFS=$'\t' read -r word _; do
        [[ $word == *= ]] && compopt -o nospace
        COMPREPLY+=("$(printf '%q' "$word")")
    done < <("$1" complete -- "${COMP_WORDS[@]:1:COMP_CWORD}" 2>/dev/null)
}
complete -o bashdefault -o default -F _jarside jarside
