#!/bin/bash
# The job that merges: merge.sh SCRIPTS OUT. Parts that are still missing it submits once more,
# with another such job after them.
# shellcheck source-path=SCRIPTDIR source=common.sh
. "$1/common.sh"
open_record "$2"
survey=$(survey) || exit
IFS=, read -r _ _ _ arrays < <(tail -n 1 <<<"$survey")
rounds=$(awk -F, '$2 != "merge.sh" { n = 0 } { n++ } END { print n }' "$record/jobs.csv")

missing=() lost=()
while IFS=, read -r k state _ vain _ status _; do
    case $k,$state in merge,* | *,done) continue ;; esac
    missing+=("$k")
    case $state,$status in
    lost,6[456]) ;; # would be the same again
    lost,*) [ "$rounds" -ge "$attempts" ] || [ "$vain" -ge "$attempts" ] || lost+=("$k") ;;
    esac
done <<<"$survey"

if [ ${#missing[@]} -eq 0 ]; then
    "${command[0]}" merge "$out" "$out" # the names of all parts may be too long for a command line
    status=$?
    note merge end $status
    exit $status
fi
echo "Not there yet: parts ${missing[*]}"
[ ${#lost[@]} -gt 0 ] || [ -n "$arrays" ] || stop 1 "no further attempt; see $(call state)"
submit_jobs merge.sh "$(IFS=,; echo "${lost[*]-}")" "$arrays"
