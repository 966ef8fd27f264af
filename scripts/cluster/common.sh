# shellcheck shell=bash
# Sourced by the scripts of this folder. What they know of a submission stands in OUT/cluster:
#   command     the command of every part, a word a line
#   sbatch      further options of sbatch, a word a line
#   terms       how many parts, how many at once (or all), how many attempts
#   jobs.csv    what was submitted: time, by which script, parts, array job, merge job
#   part_K.csv  the history of part K: part, event, time, node, size of its journal or exit status
#   merge.csv   the same of the merge jobs
#   part_K.log, merge.log   what the jobs printed
set -u
scripts=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)

stop() { # STATUS TEXT
    echo "${0##*/}: $2" >&2
    exit "$1"
}

need_slurm() {
    local tool
    for tool in sbatch squeue scancel scontrol; do
        command -v "$tool" >/dev/null ||
            stop 69 "no $tool on the PATH: is this a machine of a Slurm cluster?"
    done
}

open_record() { # OUT
    out=$(cd "$1" 2>/dev/null && pwd) || stop 66 "no such folder: $1"
    record=$out/cluster
    [ -e "$record/terms" ] || stop 66 "nothing was submitted into $out; submit does that"
    mapfile -t command <"$record/command"
    mapfile -t options <"$record/sbatch"
    # shellcheck disable=SC2034
    read -r parts at_once attempts <"$record/terms" || stop 74 "cannot read $record/terms"
}

call() { # SCRIPT: the words that call it for this OUT
    printf '%q %q' "$scripts/$1" "$out"
}

journal_size() { # K
    stat -c %s "$out/part_$1_of_$parts.journal" 2>/dev/null || echo 0
}

note() { # NAME EVENT VALUE: one more line of the history of that part or of the merge job
    echo "${1#part_},$2,$(date +%s),${SLURMD_NODENAME-},$3" >>"$record/$1.csv"
}

# Reads histories and prints a line each: past, part, starts, starts since its journal last grew
# (vain ones), when the last one began, its seconds, its exit status or none, node.
past() {
    awk -F, -v OFS=, '
        $2 == "start" { if (!($1 in size) || $5 != size[$1]) vain[$1] = 0
                        size[$1] = $5; vain[$1]++; starts[$1]++
                        began[$1] = $3; node[$1] = $4; spent[$1] = ""; status[$1] = "none" }
        $2 == "end"   { spent[$1] = $3 - began[$1]; status[$1] = $5 }
        $2 == "again" { vain[$1] = 0; status[$1] = "none" }
        END { for (k in starts)
                  print "past", k, starts[k], vain[k], began[k], spent[k], status[k], node[k] }'
}

# Prints a line a part: part, state, starts, vain ones, seconds, exit status, node or why it waits;
# then: merge, its state, its job, and the array jobs that have not ended (:JOB...).
survey() {
    local jobs queue merge k
    jobs=$(cut -d, -f4,5 "$record/jobs.csv" 2>/dev/null | tr '\n' , | tr -s ,)
    [ -n "$jobs" ] ||
        stop 66 "no job was submitted into $out; remove $record and submit it once more"
    merge=$(tail -n 1 "$record/jobs.csv" | cut -d, -f5)
    # There are always two jobs or more: asked for one only, squeue would fail if it has forgotten it.
    queue=$(squeue --noheader --array --jobs="${jobs%,}" --format='queue,%F,%K,%T,%R') ||
        stop 69 "squeue does not answer, so nobody can tell what is lost; try again later"
    {
        for ((k = 1; k <= parts; k++)); do
            [ ! -e "$out/part_${k}_of_$parts.part" ] || echo "done,$k"
        done
        (cd "$record" && cat part_*.csv 2>/dev/null) | past
        echo "$queue"
    } | awk -F, -v OFS=, -v parts="$parts" -v merge="$merge" -v now="$(date +%s)" '
        function stage(state) {
            return state ~ /^(PENDING|REQUEUE|RESV_DEL_HOLD|SPECIAL_EXIT)/ ? "waiting" : "running"
        }
        $1 == "done"  { there[$2] = 1 }
        $1 == "past"  { starts[$2] = $3; vain[$2] = $4; began[$2] = $5
                        spent[$2] = $6; status[$2] = $7; place[$2] = $8 }
        $1 == "queue" && $2 == merge { merge_stage = stage($4) }
        $1 == "queue" && $3 + 0 > 0  { queued[$3] = stage($4); arrays[$2] = 1; reason[$3] = $5
                                       for (i = 6; i <= NF; i++) reason[$3] = reason[$3] ";" $i }
        END {
            for (k = 1; k <= parts; k++) {
                state = k in there ? "done" : k in queued ? queued[k] : "lost"
                if (state == "waiting") { spent[k] = ""; place[k] = reason[k] }
                if (state == "running" && k in began) spent[k] = now - began[k]
                print k, state, starts[k] + 0, vain[k] + 0, spent[k], status[k], place[k]
            }
            for (job in arrays) list = list ":" job
            print "merge", merge_stage ? merge_stage : "none", merge, list
        }'
}

# The most parts that the cluster takes at once; nothing if it does not say.
most_parts() {
    scontrol show config 2>/dev/null | awk '$1 == "MaxArraySize" { print ($3 > 0 ? $3 - 1 : 0) }'
}

# Submits the parts K,K... (or a range, or none) and a job that merges when these and the array jobs
# of AFTER (:JOB...) have ended, however they ended.
submit_jobs() { # BY PARTS AFTER
    local by=$1 which=$2 after=$3 array='' merge
    local common=(--parsable --requeue --chdir="$record" --open-mode=append "${options[@]}")
    local own=(--job-name=packspan --output=part_%a.log)
    [ "$at_once" = all ] || which=$which%$at_once
    # A run has no journal: nothing is won by stopping it early.
    [ "${command[1]}" != study ] || own+=(--signal=B:USR1@120)
    if [ -n "$2" ]; then
        array=$(sbatch "${common[@]}" "${own[@]}" --array="$which" "$scripts/part.sh" "$scripts" "$out") ||
            stop 69 "Slurm did not take the parts, for the reason above; its options go after --"
        array=${array%%;*}
        after=$after:$array
    fi
    own=(--job-name=packspan_merge --output=merge.log)
    [ -z "$after" ] || own+=(--dependency="afterany$after")
    if ! merge=$(sbatch "${common[@]}" "${own[@]}" "$scripts/merge.sh" "$scripts" "$out"); then
        [ -z "$array" ] || scancel "$array"
        stop 69 "Slurm did not take the merge job, for the reason above; its options go after --"
    fi
    merge=${merge%%;*}
    if ! echo "$(date +%s),$by,${2//,/ },$array,$merge" >>"$record/jobs.csv"; then
        # Jobs that nobody knows of would go on without end.
        # shellcheck disable=SC2086
        scancel $array $merge
        stop 74 "cannot write $record/jobs.csv, so the jobs are cancelled; make room, then once more"
    fi
}
