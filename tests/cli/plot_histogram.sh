#!/bin/bash
# scripts/plot_histogram.gp: draws PNG and SVG from the three tables, and refuses what it cannot draw.
# usage: plot_histogram.sh PROJECT_FOLDER
set -u
script=$1/scripts/plot_histogram.gp
# shellcheck source-path=SCRIPTDIR source=../support/refusals.sh
. "$1/tests/support/refusals.sh"

expect() { # STATUS TEXT ARGUMENT...
    expect_of "$1" "$2" gnuplot -c "$script" "${@:3}"
}

mkdir out
cat >out/summary.csv <<'END'
vehicle,quantity,unit,kind,samples,mean,sd,p01,p05,p10,p25,p50,p75,p90,p95,p99,shortest95_low,shortest95_high,min,max,mean_error,p05_error,p50_error,p95_error
van,label_range,km,worked_out,100,305,7,291,293,295,300,305,310,315,317,319,291,319,290,320,0.7,1,0.9,1
old_van,label_range,km,worked_out,100,325,7,311,313,315,320,325,330,335,337,339,311,339,310,340,0.7,1,0.9,1
van,usable_fraction,1,input,100,0.94,0.007,0.926,0.928,0.93,0.935,0.94,0.945,0.95,0.952,0.954,0.926,0.954,0.925,0.955,0.001,0.001,0.001,0.001
van,cell_count,1,input,100,96,0,96,96,96,96,96,96,96,96,96,96,96,96,96,0,0,0,0
END
cat >out/histogram.csv <<'END'
vehicle,quantity,unit,bin,low,high,count,share,density,cumulative
van,label_range,km,1,290,300,25,0.25,0.025,0.25
van,label_range,km,2,300,310,50,0.5,0.05,0.75
van,label_range,km,3,310,320,25,0.25,0.025,1
old_van,label_range,km,1,310,320,25,0.25,0.025,0.25
old_van,label_range,km,2,320,330,50,0.5,0.05,0.75
old_van,label_range,km,3,330,340,25,0.25,0.025,1
van,usable_fraction,1,1,0.925,0.935,25,0.25,25,0.25
van,usable_fraction,1,2,0.935,0.945,50,0.5,50,0.75
van,usable_fraction,1,3,0.945,0.955,25,0.25,25,1
van,cell_count,1,1,96,96,100,1,,1
END
cat >out/claims.csv <<'END'
claim,vehicle,quantity,unit,sense,value,tolerance,percentile_of_claim,probability,probability_error,median_gap,gap_p05,gap_p95,verdict,likelihood
"sticker, front",van,label_range,mi,is,190,0.5,54,0.4,0.05,0,0,0,not contradicted,about as likely as not
promised_range,van,label_range,km,at_least,300,0,25,0.75,0.04,5,0,0,open,likely
odd_unit,van,label_range,furlong,at_least,1500,0,25,0.75,0.04,5,0,0,open,likely
moon_trip,van,label_range,km,at_least,384400,0,100,0,0,0,0,0,fails,exceptionally unlikely
END

expect 0 "claim 'odd_unit' is in furlong, the axis in km: not drawn" out one.png van.label_range
expect 0 "claim 'moon_trip' lies far outside of the axis: not drawn" out one.svg van.label_range
expect 0 "not drawn" out many.png van.label_range old_van.label_range van.usable_fraction
expect 0 "not drawn" out many.svg van.label_range old_van.label_range van.usable_fraction

# PNG: signature, then width and height in the IHDR chunk (RFC 2083, 12.11 and 11.2.2).
[ "$(head -c 8 one.png | od -An -tx1 | tr -d ' \n')" = 89504e470d0a1a0a ] || fail "one.png is no PNG"
png_size() {
    od -An -tu1 -j16 -N8 "$1" | awk '{ print (($1*256+$2)*256+$3)*256+$4, (($5*256+$6)*256+$7)*256+$8 }'
}
read -r width height < <(png_size one.png)
read -r many_width many_height < <(png_size many.png)
[ "$width" -ge 800 ] && [ "$height" -ge 300 ] || fail "one.png is $width x $height"
[ "$many_width" -eq "$width" ] || fail "many.png is $many_width wide, one.png $width"
[ "$many_height" -ge $((height + 300)) ] || fail "many.png is no higher than one panel: $many_height"

# has FILE TEXT
has() {
    grep -qF -- "$2" "$1" || fail "$1 lacks '$2'"
}
head -c 200 one.svg | grep -q '<?xml' || fail "one.svg is no SVG"
grep -q '<svg' one.svg || fail "one.svg has no svg element"
grep -q '</svg>' one.svg || fail "one.svg is cut short"
has one.svg "label_range (km)"
has one.svg "probability density (per km)"
has one.svg "p05 293.0   p50 305.0   p95 317.0"
# 190 mi x 1.609344 km/mi (NIST SP 811 B.8) = 305.775 km
has one.svg "sticker, front: 190 ± 0.5 mi = 305.8 km"
has one.svg "promised_range: at least 300 km"
grep -q 'odd_unit\|moon_trip' one.svg && fail "a claim that cannot be placed was drawn"
# Two vehicles share the first panel; a claim then says whose it is.
has many.svg "label_range (km)"
has many.svg "promised_range: at least 300 km  (van.label_range)"
has many.svg "usable_fraction (ratio)"
has many.svg "old_van.label_range"

mkdir rivals
for table in summary histogram; do
    sed '1s/^/candidate,/; 2,$s/^/mixture,/' out/$table.csv >rivals/$table.csv
done
printf '%s\n' candidate,prior,posterior full,0.5,1 fewer,0.5,0 >rivals/candidates.csv
expect 0 "" rivals rivals.png van.label_range
expect 65 "candidate 'fewer' is ruled out by the evidence" rivals no.png fewer:van.label_range
expect 65 "no quantity 'none:van.label_range' in rivals/summary.csv" rivals no.png none:van.label_range

rm out/claims.csv
expect 0 "" out bare.svg van.label_range
grep -q 'promised_range' bare.svg && fail "a claim without a table"

expect 64 "usage:"
expect 64 "usage:" out one.png
expect 64 "usage:" out one.png van.a van.b van.c van.d van.e van.f van.g
expect 64 "PICTURE must end in .png or .svg: one.jpg" out one.jpg van.label_range
expect 65 "no quantity 'van.lable_range' in out/summary.csv" out no.png van.lable_range
expect 65 "'van.cell_count' has one single value" out no.png van.cell_count
expect 66 "cannot read nowhere/summary.csv" nowhere no.png van.label_range
expect 74 "cannot write absent/no.png" out absent/no.png van.label_range
[ -e no.png ] && fail "a refused picture was written"

[ "$failures" -eq 0 ]
