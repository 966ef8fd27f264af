#!/bin/bash
# The scripts for clusters, used wrongly or short of what they need. Slurm itself is not needed: its
# commands are scripts here, and sbatch only counts.
# usage: refusals.sh PROGRAM PROJECT
set -u
program=$(realpath "$1")
scripts=$(realpath "$2")/scripts/cluster
plain=$(realpath "$2")/tests/data/cases/plain
# shellcheck source-path=SCRIPTDIR source=../support/refusals.sh
. "$(realpath "$2")/tests/support/refusals.sh"

expect() { # STATUS TEXT SCRIPT ARGUMENT...
    expect_of "$1" "$2" "$scripts/$3" "${@:4}"
}

# A PATH with what the scripts need, without Slurm.
mkdir bin slurm
for tool in bash awk cat cp cut date dirname grep head mkdir paste realpath pkill rm stat tail touch tr wc; do
    ln -s "$(command -v $tool)" bin/
done
ln -s "$program" bin/packspan
cat >slurm/sbatch <<'END'
#!/bin/bash
echo x >>sbatch_calls
wc -l <sbatch_calls
END
printf '#!/bin/bash\necho "$*" >>cancelled\n' >slurm/scancel
printf '#!/bin/bash\necho "MaxArraySize            = 1001"\n' >slurm/scontrol
printf '#!/bin/bash\nexit 1\n' >slurm/squeue
chmod +x slurm/*
export PATH=$scratch/bin

expect 0 "usage: submit study|run CASE OUT --parts N" submit --help
expect 64 "usage: submit study|run CASE OUT --parts N" submit
expect 64 "usage:" submit check "$plain" out --parts 3
expect 64 "CASE and OUT are needed" submit run "$plain"
expect 64 "option '--parts': is needed" submit run "$plain" out
expect 64 "option '--parts': needs a value" submit run "$plain" out --parts
for wrong in 0 -1 1.5 many 1000000 ''; do
    expect 64 "option '--parts': is not possible: '$wrong'; 1 to 999999" \
        submit run "$plain" out --parts "$wrong"
done
expect 64 "option '--at-once': is not possible: '0'" submit run "$plain" out --parts=3 --at-once=0
expect 64 "option '--part': submit gives this one itself" submit run "$plain" out --parts 3 --part 1/3
expect 64 "option '-o': submit gives this one itself" submit run "$plain" out --parts 3 -o there
expect 64 "no such option: '--sampels'" submit run "$plain" out --parts 3 --sampels 1000
expect 64 "option '--samples': is not possible: 'few'" submit run "$plain" out --parts 3 --samples few
for short in 3 2:59 0:03:00 0-0 0-0:03 00:00:09; do
    expect 64 "option '--time': is too short: '$short'; a study stops two minutes before" \
        submit study "$plain" out --parts 3 --time $short
done
for enough in 4 08 3:01 1:00:00 0-1 0-0:04 1-0:0:1 UNLIMITED; do
    expect 69 "no sbatch on the PATH" submit study "$plain" out --parts 3 --time=$enough
done
expect 69 "no sbatch on the PATH" submit run "$plain" out --parts 3 --time=1
expect 64 "a line break in a name" submit run "$plain" $'two\nlines' --parts 3
expect 66 "no/such/case" submit run no/such/case out --parts 3
cp -r "$plain" broken && echo 'van,subject,more,than,there,is' >>broken/vehicles.csv
expect 65 "vehicles.csv:4" submit run broken out --parts 3
expect 69 "no sbatch on the PATH" submit run "$plain" out --parts 3
[ ! -e out ] || fail "a refused submission left a folder"

expect 64 "usage: state OUT" state
expect 64 "usage: state OUT" state one two
expect 66 "no such folder: out" state out
expect 64 "usage: again OUT" again
expect 64 "usage: again OUT" again out --time=5
mkdir out
expect 66 "nothing was submitted into $scratch/out" state out
expect 66 "nothing was submitted into $scratch/out" again out

PATH=$scratch/slurm:$PATH
touch out/part_1_of_2.part
expect 65 "holds parts that were not submitted from here" submit run "$plain" out --parts 3
rm out/part_1_of_2.part
expect 0 "Submitted 3 parts as array job 1 and job 2" submit run "$plain" out --parts 3 --seed 5
expect 64 "this was submitted already" submit run "$plain" out --parts 3 --seed 5
expect 65 "holds parts of something else" submit run "$plain" out --parts 3 --seed 6
expect 65 "holds parts of something else" submit run "$plain" out --parts 4 --seed 5
[ "$(wc -l <sbatch_calls)" -eq 2 ] || fail "sbatch was called for what was refused"
expect 69 "squeue does not answer" state out
expect 69 "squeue does not answer" again out

for again in 1 2; do # what a submission did not make it does not remove either
    mkdir -p left/cluster
    echo mine >left/cluster/note
    expect 74 "if a submission that did not end has left it, remove it" submit run "$plain" left --parts 3
    [ "$(cat left/cluster/note)" = mine ] || fail "a record of somebody else is gone, time $again"
done
expect 64 "option '--parts': is not possible: '1001'; this cluster takes up to 1000 (MaxArraySize)" \
    submit run "$plain" many --parts 1001
[ ! -e many ] || fail "a refused submission left a folder"

# The controller has forgotten all jobs, or tells why one waits.
printf '#!/bin/bash\n' >slurm/squeue
expect 0 "No job is left for parts 1 2 3: they never began; were they cancelled" state out
echo stopped >out/cluster/part_1.log
expect 0 "No job is left for parts 1 2 3: read $scratch/out/cluster/part_1.log" state out
expect 0 "Once more: $scripts/again $scratch/out" state out
cat >slurm/squeue <<'END'
#!/bin/bash
echo 'queue,1,2,PENDING,(ReqNodeNotAvail, UnavailableNodes:n[1,2])'
END
expect 0 "     2  waiting         0          -  (ReqNodeNotAvail; UnavailableNodes:n[1;2])" state out
printf '#!/bin/bash\n' >slurm/squeue
touch out/part_{1,2,3}_of_3.part
echo merge,end,1,,65 >out/cluster/merge.csv
expect 0 "Remove the parts that it names, then: $scripts/again $scratch/out" state out

# Jobs that cannot be recorded do not stay in the queue.
cp slurm/sbatch counting
printf '#!/bin/bash\nmkdir -p full/cluster/jobs.csv\nexec ./counting\n' >slurm/sbatch
rm -f sbatch_calls cancelled
expect 74 "so the jobs are cancelled" submit run "$plain" full --parts 3
[ "$(cat cancelled)" = "1 2" ] || fail "cancelled: $(cat cancelled)"
[ ! -e full/cluster ] || fail "a submission that was cancelled left a record"

# A signal that comes as packspan ends does not hide how it ended.
mkdir -p signalled/cluster
cp slurm/scancel ends # for its mode
cat >ends <<'END'
#!/bin/bash
trap '' TERM
kill -USR1 "$(<signalled/cluster/job)"
exit 65
END
echo "$scratch/ends" >signalled/cluster/command
echo >signalled/cluster/sbatch
echo "1 all 3" >signalled/cluster/terms
for ((i = 0; i < 20; i++)); do
    SLURM_ARRAY_TASK_ID=1 bash -c 'echo $$ >signalled/cluster/job; exec bash "$0/part.sh" "$@"' \
        "$scripts" "$scripts" "$scratch/signalled" >printed 2>&1
    got=$?
    [ $got -eq 65 ] || fail "a part that ended with 65 has status $got: $(cat printed)"
done
[ "$(grep -c ',end,.*,65$' signalled/cluster/part_1.csv)" -eq 20 ] ||
    fail "not all ended with 65: $(cat signalled/cluster/part_1.csv)"

printf '#!/bin/bash\necho no such partition >&2\nexit 1\n' >slurm/sbatch
expect 69 "no such partition" submit run "$plain" other --parts 3
[ ! -e other/cluster ] || fail "a submission that Slurm refused left a record"
[ "$failures" -eq 0 ]
