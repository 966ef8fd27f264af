#!/bin/bash
# The job of one part: part.sh SCRIPTS OUT. (Slurm runs a copy, which stands in no useful folder.)
# shellcheck source-path=SCRIPTDIR source=common.sh
. "$1/common.sh"
open_record "$2"
k=$SLURM_ARRAY_TASK_ID

# Slurm ends a job with SIGTERM to all of its processes, so packspan has it already, and a second
# one would cut its last journal entry short. What comes after that is for others to say.
ended_from_outside=no waiter=
trap 'ended_from_outside=yes' TERM
trap '[ -z "$waiter" ] || pkill -TERM -P "$waiter"' USR1 # time is nearly up

size=$(journal_size "$k")
note "part_$k" start "$size"
# Another shell waits for packspan and tells how it ended: the wait of this one would be cut short
# by a signal, and may lose the status of what ends at that moment.
exec 3>&1
exec {told}< <(
    trap : TERM
    "${command[@]}" --part "$k/$parts" >&3 3>&-
    echo $?
)
waiter=$!
read -r status <&"$told" || status=137 # the other shell was killed
note "part_$k" end "$status"

[ ! -e "$out/part_${k}_of_$parts.part" ] || exit 0
case $status in 64 | 65 | 66) exit "$status" ;; esac # would be the same again
[ $ended_from_outside = no ] || exit "$status"
IFS=, read -r _ _ _ vain _ < <(past <"$record/part_$k.csv")
if [ "$(journal_size "$k")" -gt "$size" ] || [ "$vain" -lt "$attempts" ]; then
    # By the name of the array: the number of its last task alone would stand for all of it.
    scontrol requeue "${SLURM_ARRAY_JOB_ID}_$k"
fi
exit "$status"
