# SPDX-License-Identifier: GPL-3.0-or-later
# Only asks 'jarside complete' for the words; where there is none, the shell offers files.
function __jarside_complete
    set -l now (commandline -ct)
    set -l words (commandline -opc) "$now"
    set -l offered (jarside complete -- $words[2..-1] 2>/dev/null)
    if test (count $offered) -gt 0
        printf '%s\n' $offered
    else
        __fish_complete_path "$now"
    end
end
complete -c jarside -f -a '(__jarside_complete)'
