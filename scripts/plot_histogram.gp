# Draws distributions from the result tables of a run:
#
#   gnuplot -c scripts/plot_histogram.gp OUT PICTURE VEHICLE.QUANTITY [VEHICLE.QUANTITY ...]
#
# OUT      folder with histogram.csv, summary.csv and, if there were claims, claims.csv
# PICTURE  file to write; its ending, .png or .svg, decides the format
#
# One to six quantities. Those of the same unit that lie near one another share a panel, the others
# are stacked. Above the curves stand the 5th, 50th and 95th percentile of each, and above those the
# claims about it, converted to the axis' unit. Everything can be told apart in grey print.
#
# Needs gnuplot 5.4 (gnuplot-nox) and awk. Exit status: 0 done, 64 wrong use, 65 no such quantity or
# nothing to draw, 66 missing file, 74 the picture could not be written.

usage = "usage: gnuplot -c plot_histogram.gp OUT PICTURE.png|.svg VEHICLE.QUANTITY ... (1 to 6)"
if (ARGC < 3 || ARGC > 8) { print usage; exit status 64 }
folder = ARG1
picture = ARG2
if (strstrt(folder . picture, "'") > 0) {
    print "plot_histogram: OUT and PICTURE must not hold a quote: " . folder . " " . picture
    exit status 64
}
ending = strlen(picture) > 4 ? picture[strlen(picture) - 3:] : ""
if (ending ne ".png" && ending ne ".svg") {
    print "plot_histogram: PICTURE must end in .png or .svg: " . picture
    exit status 64
}

if (system("test -w \"$(dirname '" . picture . "')\" && echo yes") ne "yes") {
    print "plot_histogram: cannot write " . picture
    exit status 74
}

# ---- units of the trade: unit, kind, size -------------------------------------------------------
# A claim may be written in another unit than the axis. Only units of this table are converted.
UNITS = "J energy 1 kJ energy 1.0e3 MJ energy 1.0e6 \
Wh energy 3600 kWh energy 3.6e6 MWh energy 3.6e9 \
m distance 1 km distance 1.0e3 mi distance 1609.344 ft distance 0.3048 \
g mass 1.0e-3 kg mass 1 lb mass 0.45359237 t mass 1.0e3 \
J/m consumption 1 Wh/km consumption 3.6 Wh/mi consumption 2.2369362920544 \
kWh/km consumption 3600 kWh/mi consumption 2236.9362920544 \
kWh/100km consumption 36 kWh/100mi consumption 22.369362920544 \
W power 1 kW power 1.0e3 N force 1 lbf force 4.4482216152605 \
m/s speed 1 km/h speed 0.27777777777777779 mph speed 0.44704 \
C charge 1 Ah charge 3600 mAh charge 3.6 V voltage 1 mV voltage 1.0e-3 \
mm length 1.0e-3 cm length 1.0e-2 in length 0.0254 1 ratio 1 % ratio 0.01 \
L volume 1.0e-3 m3 volume 1 cm^3 volume 1.0e-6 m2 area 1 ft2 area 0.09290304 \
Wh/kg specific_energy 3600 kWh/kg specific_energy 3.6e6 \
Wh/L energy_density 3.6e6 kWh/L energy_density 3.6e9"
unit_rows = words(UNITS) / 3
unit_row(u) = sum [i_ = 1:unit_rows] (word(UNITS, 3 * i_ - 2) eq u ? i_ : 0)
unit_kind(u) = unit_row(u) > 0 ? word(UNITS, 3 * unit_row(u) - 1) : "value"
unit_size(u) = word(UNITS, 3 * unit_row(u)) + 0.0
convertible(from, to) = from eq to ? 1 : \
    unit_row(from) > 0 && unit_row(to) > 0 ? unit_kind(from) eq unit_kind(to) : 0
converted(x, from, to) = from eq to ? x : x * unit_size(from) / unit_size(to)
unit_text(u) = u eq "1" || u eq "" ? "ratio" : u

# ---- reading ------------------------------------------------------------------------------------
# awk turns quoted CSV into tab-separated text; gnuplot itself splits a quoted field at its comma.
AWK = "\
{ out = \"\"; quoted = 0; sub(/\\r$/, \"\"); if (index($0, \"\\\"\") == 0) gsub(/,/, \"\\t\"); \
else { for (i = 1; i <= length($0); i++) { c = substr($0, i, 1); \
if (c == \"\\\"\") quoted = !quoted; \
else out = out (c == \",\" && !quoted ? \"\\t\" : c) } $0 = out } print }"
table(file) = "< awk '" . AWK . "' '" . folder . "/" . file . "'"
exists_file(file) = system("test -r '" . folder . "/" . file . "' && echo yes") eq "yes"
set datafile separator tab
set datafile columnheaders
set datafile commentschars ""
# With candidates, VEHICLE.QUANTITY is their mixture and CANDIDATE:VEHICLE.QUANTITY one of them.
with_candidates = system("head -n 1 '" . folder . "/summary.csv' 2>/dev/null | grep -c '^candidate,'") eq "1"
of_candidate(c) = c eq "mixture" ? "" : c . ":"
named(name) = (with_candidates ? of_candidate(strcol("candidate")) : "") . strcol("vehicle") . "." . strcol("quantity") eq name
# A candidate without weight is in candidates.csv alone.
rows_of(c, file) = system("awk -F, -v name='" . c . "' '$1 == name { n++ } END { print n + 0 }' '" . \
    folder . "/" . file . "'") + 0
is_ruled_out(c) = c eq "" || strstrt(c, "'") > 0 ? 0 : \
    exists_file("candidates.csv") && rows_of(c, "candidates.csv") > 0 && rows_of(c, "summary.csv") == 0

do for [file in "summary.csv histogram.csv"] {
    if (!exists_file(file)) {
        print "plot_histogram: cannot read " . folder . "/" . file
        exit status 66
    }
}

count = ARGC - 2
array NAME[6]; array UNIT[6]; array PANEL[6]; array DENSEST[6]
array LOW[6]; array P05[6]; array P50[6]; array P95[6]; array HIGH[6]
array FIRST[6]; array LAST[6]
do for [i = 1:count] {
    NAME[i] = value(sprintf("ARG%d", i + 2))
    PANEL[i] = 0
    found = 0
    stats table("summary.csv") using (named(NAME[i]) ? (found = 1, unit = strcol("unit"), \
        low = column("p01"), p05 = column("p05"), p50 = column("p50"), p95 = column("p95"), \
        high = column("p99"), 0) : 0) nooutput
    candidate = with_candidates ? NAME[i][:strstrt(NAME[i], ":") - 1] : ""
    if (!found && is_ruled_out(candidate)) {
        print "plot_histogram: candidate '" . candidate . "' is ruled out by the evidence: " . \
            "it has no distribution to draw"
        exit status 65
    }
    if (!found) {
        print "plot_histogram: no quantity '" . NAME[i] . "' in " . folder . "/summary.csv"
        exit status 65
    }
    UNIT[i] = unit; LOW[i] = low; P05[i] = p05; P50[i] = p50; P95[i] = p95; HIGH[i] = high
    bins = 0; densest = 0.0; first = 0.0; last = 0.0
    stats table("histogram.csv") using (named(NAME[i]) ? (bins = bins + 1, \
        first = bins == 1 ? column("low") : first, last = column("high"), \
        densest = column("high") > column("low") && column("density") > densest ? \
            column("density") : densest, 0) : 0) nooutput
    if (bins == 0) {
        print "plot_histogram: no quantity '" . NAME[i] . "' in " . folder . "/histogram.csv"
        exit status 65
    }
    if (!(high > low) || densest <= 0) {
        print "plot_histogram: '" . NAME[i] . "' has one single value, there is nothing to draw"
        exit status 65
    }
    DENSEST[i] = densest; FIRST[i] = first; LAST[i] = last
}

claims = 0
most_claims = 24
array CLAIM[24]; array ABOUT[24]; array AT[24]; array SLACK[24]; array SENSE[24]; array WORDS[24]
if (exists_file("claims.csv")) {
    do for [i = 1:count] {
        rows = 0
        stats table("claims.csv") using (rows = rows + (named(NAME[i]) ? 1 : 0), 0) nooutput
        do for [k = 1:rows] {
            row = 0
            stats table("claims.csv") using (named(NAME[i]) ? (row = row + 1, row == k ? \
                (claim = strcol("claim"), unit = strcol("unit"), sense = strcol("sense"), \
                 at = column("value"), \
                 slack = strcol("tolerance") eq "" ? 0 : column("tolerance"), 0) : 0) : 0) nooutput
            if (!convertible(unit, UNIT[i])) {
                print "plot_histogram: note: claim '" . claim . "' is in " . unit . \
                    ", the axis in " . UNIT[i] . ": not drawn"
                continue
            }
            if (claims == most_claims) {
                print "plot_histogram: note: claim '" . claim . "' is one too many: not drawn"
                continue
            }
            claims = claims + 1
            CLAIM[claims] = claim; ABOUT[claims] = i; SENSE[claims] = sense
            AT[claims] = converted(at, unit, UNIT[i])
            SLACK[claims] = converted(slack, unit, UNIT[i])
            WORDS[claims] = claim . ": " . (sense eq "at_least" ? "at least " : \
                sense eq "at_most" ? "at most " : "") . sprintf("%.6g", at) . \
                (slack > 0 ? sprintf(" ± %.3g", slack) : "") . (unit eq "1" ? "" : " " . unit) . \
                (unit eq UNIT[i] ? "" : sprintf(" = %.4g ", AT[claims]) . unit_text(UNIT[i]))
        }
    }
}

# ---- panels -------------------------------------------------------------------------------------
# Same unit, the common axis not much wider than the widest of its quantities, no peak dwarfed.
max(a, b) = a > b ? a : b
min(a, b) = a < b ? a : b
panels = 0
array LEFT[6]; array RIGHT[6]; array TALLEST[6]; array SHORTEST[6]; array WIDEST[6]
array MEMBERS[6]; array MARKS[6]; array LABEL[6]
do for [i = 1:count] {
    do for [p = 1:panels] {
        first = word(MEMBERS[p], 1) + 0
        span = max(RIGHT[p], HIGH[i]) - min(LEFT[p], LOW[i])
        near = span <= 6 * max(WIDEST[p], HIGH[i] - LOW[i])
        alike = max(TALLEST[p], DENSEST[i]) <= 8 * min(SHORTEST[p], DENSEST[i])
        if (PANEL[i] == 0 && UNIT[first] eq UNIT[i] && near && alike) {
            PANEL[i] = p
            LEFT[p] = min(LEFT[p], LOW[i])
            RIGHT[p] = max(RIGHT[p], HIGH[i])
        }
    }
    if (PANEL[i] == 0) {
        panels = panels + 1
        p = panels
        PANEL[i] = p; MEMBERS[p] = ""; LABEL[p] = ""; MARKS[p] = 0
        TALLEST[p] = 0; SHORTEST[p] = 0; WIDEST[p] = 0
        LEFT[p] = LOW[i]; RIGHT[p] = HIGH[i]
    }
    p = PANEL[i]
    MEMBERS[p] = MEMBERS[p] . sprintf(" %d", i)
    TALLEST[p] = max(TALLEST[p], DENSEST[i])
    SHORTEST[p] = SHORTEST[p] > 0 ? min(SHORTEST[p], DENSEST[i]) : DENSEST[i]
    WIDEST[p] = max(WIDEST[p], HIGH[i] - LOW[i])
    quantity = NAME[i][strstrt(NAME[i], ".") + 1:]
    LABEL[p] = LABEL[p] eq "" || LABEL[p] eq quantity ? quantity : unit_kind(UNIT[i])
}
# Room for the tails, then for claims, unless one lies so far off that the curves would shrink to a
# line; such a claim loses its name and is not drawn.
do for [p = 1:panels] {
    margin = 0.35 * WIDEST[p]
    from = LOW[word(MEMBERS[p], 1) + 0]; to = from
    do for [m in MEMBERS[p]] { i = m + 0; from = min(from, FIRST[i]); to = max(to, LAST[i]) }
    LEFT[p] = max(LEFT[p] - margin, from)
    RIGHT[p] = min(RIGHT[p] + margin, to)
    reach = 2 * (RIGHT[p] - LEFT[p])
    left = LEFT[p]; right = RIGHT[p]
    do for [c = 1:claims] {
        if (PANEL[ABOUT[c]] == p) {
            if (AT[c] < left - reach || AT[c] > right + reach) {
                print "plot_histogram: note: claim '" . CLAIM[c] . \
                    "' lies far outside of the axis: not drawn"
                CLAIM[c] = ""
            } else {
                LEFT[p] = min(LEFT[p], AT[c] - SLACK[c])
                RIGHT[p] = max(RIGHT[p], AT[c] + SLACK[c])
                MARKS[p] = MARKS[p] + 1
            }
        }
    }
    pad = 0.03 * (RIGHT[p] - LEFT[p])
    LEFT[p] = LEFT[p] - pad
    RIGHT[p] = RIGHT[p] + pad
}

# ---- layout in pixels ---------------------------------------------------------------------------
width = 1240; plot_left = 84; plot_right = 880
above = 18; claim_row = 27; bar_row = 47; curve_area = 270; below = 74
array TOP[6]; array BODY[6]
height = 0
do for [p = 1:panels] {
    TOP[p] = height + above
    BODY[p] = MARKS[p] * claim_row + words(MEMBERS[p]) * bar_row + 14 + curve_area
    height = TOP[p] + BODY[p] + below
}

face = "DejaVu Sans,12"
if (ending eq ".png") {
    set terminal pngcairo size width, height font face noenhanced background "#ffffff"
} else {
    set terminal svg size width, height font face noenhanced background "#ffffff"
}

INK = "#1c2226"; SOFT = "#5c666b"; HAIR = "#d5dadc"; BAND = "#e3e0d6"
set linetype 1 lc rgb "#123f4d" lw 2.3 dt 1
set linetype 2 lc rgb "#a03a16" lw 2.3 dt (9, 5)
set linetype 3 lc rgb "#26262b" lw 2.6 dt (1.5, 4)
set linetype 4 lc rgb "#5d3f94" lw 2.3 dt (12, 4, 2, 4)
set linetype 5 lc rgb "#0c7468" lw 2.3 dt (20, 6)
set linetype 6 lc rgb "#7d6205" lw 2.3 dt (4, 3)
array COLOUR[6] = ["#123f4d", "#a03a16", "#26262b", "#5d3f94", "#0c7468", "#7d6205"]

# As many decimals as make the width of the interval readable to three digits.
decimals(x) = max(0, min(9, 2 - int(floor(log10(x)))))
number(x, spread) = sprintf(sprintf("%%.%df", decimals(spread)), x)
nice(x) = x <= 1 ? 1 : x <= 2 ? 2 : x <= 5 ? 5 : 10

# ---- drawing ------------------------------------------------------------------------------------
set output picture
set multiplot
do for [p = 1:panels] {
    unset label; unset arrow; unset object
    set lmargin at screen real(plot_left) / width
    set rmargin at screen real(plot_right) / width
    set tmargin at screen 1 - real(TOP[p]) / height
    set bmargin at screen 1 - real(TOP[p] + BODY[p]) / height
    peak = TALLEST[p]
    full = 1.04 * peak * BODY[p] / curve_area
    level(pixels) = full * (1 - real(pixels) / BODY[p])
    set xrange [LEFT[p]:RIGHT[p]]
    set yrange [0:full]
    first = word(MEMBERS[p], 1) + 0
    set border 1 lc rgb INK lw 1.2
    set xtics nomirror out scale 0.7, 0.4 textcolor rgb INK
    set mxtics 2
    power = 10 ** floor(log10(peak / 4))
    step = power * nice(peak / 4 / power)
    set ytics scale 0 textcolor rgb SOFT font ",10"
    set ytics 0, step, peak
    do for [k = 1:int(peak / step)] {
        set arrow from LEFT[p], k * step to RIGHT[p], k * step nohead lc rgb HAIR lw 1 dt 1 back
    }
    set xlabel LABEL[p] . " (" . unit_text(UNIT[first]) . ")" tc rgb INK offset 0, 0.2
    set label "probability density" . (UNIT[first] eq "1" ? "" : " (per " . UNIT[first] . ")") \
        at screen 0.018, first 0.5 * peak center rotate by 90 tc rgb SOFT font ",10"
    unset key

    # Claims: a row each, a line down to the axis, the tolerance as a band, the sense as an arrow.
    # The leftmost is the uppermost, so that its line does not cross the words of the others.
    above_of(c) = sum [o = 1:claims] (CLAIM[o] ne "" && PANEL[ABOUT[o]] == p && \
        (AT[o] < AT[c] || (AT[o] == AT[c] && o < c)))
    do for [c = 1:claims] {
        if (CLAIM[c] ne "" && PANEL[ABOUT[c]] == p) {
            y = level(claim_row * (above_of(c) + 0.5))
            if (SENSE[c] eq "is" && SLACK[c] > 0) {
                set object rectangle from AT[c] - SLACK[c], 0 to AT[c] + SLACK[c], 1.02 * peak \
                    fc rgb BAND fs solid noborder back
            }
            set arrow from AT[c], y to AT[c], 0 nohead lc rgb INK lw 1.3 dt 1 front
            side = AT[c] > 0.35 * LEFT[p] + 0.65 * RIGHT[p] ? -1 : 1
            way = SENSE[c] eq "at_least" ? 1 : SENSE[c] eq "at_most" ? -1 : 0
            if (way != 0) {
                set arrow from AT[c], y to AT[c] + way * 0.028 * (RIGHT[p] - LEFT[p]), y \
                    head filled size screen 0.006, 18 lc rgb INK lw 1.6 dt 1 front
            } else {
                set label "" at AT[c], y point pt 11 ps 1.1 lc rgb INK front
            }
            shift = side * (way == side ? 0.036 : 0.012) * (RIGHT[p] - LEFT[p])
            saying = WORDS[c] . (words(MEMBERS[p]) > 1 ? "  (" . NAME[ABOUT[c]] . ")" : "")
            if (side > 0) {
                set label saying at AT[c] + shift, y left tc rgb INK font ",11" front
            } else {
                set label saying at AT[c] + shift, y right tc rgb INK font ",11" front
            }
        }
    }

    # Percentiles: a bar from p05 to p95 with p50 on it, in the line of its curve.
    member = 0
    do for [m in MEMBERS[p]] {
        i = m + 0
        top = MARKS[p] * claim_row + bar_row * member
        y = level(top + 0.5 * bar_row)
        member = member + 1
        spread = P95[i] - P05[i]
        set arrow from P05[i], y to P95[i], y nohead lt member front
        tick = level(top + 0.5 * bar_row - 6) - y
        do for [k = 1:2] {
            at = k == 1 ? P05[i] : P95[i]
            set arrow from at, y - tick to at, y + tick nohead \
                lc rgb COLOUR[member] lw 2.3 dt 1 front
        }
        set label "" at P50[i], y point pt 7 ps 1.3 lc rgb COLOUR[member] front
        set arrow from graph 1.012, first y to graph 1.052, first y nohead lt member
        set label NAME[i] at graph 1.062, first level(top + 0.5 * bar_row - 9) \
            left tc rgb INK font ",12"
        set label sprintf("p05 %s   p50 %s   p95 %s", number(P05[i], spread), \
            number(P50[i], spread), number(P95[i], spread)) \
            at graph 1.062, first level(top + 0.5 * bar_row + 10) left tc rgb SOFT font ",10.5"
        # On the curve itself: all three for a lone curve, else the median.
        do for [k = 1:3] {
            if (k == 2 || words(MEMBERS[p]) == 1) {
                at = k == 1 ? P05[i] : k == 2 ? P50[i] : P95[i]
                weight = k == 2 ? 2 : 1.2
                dashes = k == 2 ? 1 : 2
                dense = 0.0
                stats table("histogram.csv") using (named(NAME[i]) && column("low") <= at && \
                    at <= column("high") ? (dense = column("density"), 0) : 0) nooutput
                set arrow from at, 0 to at, dense nohead lc rgb COLOUR[member] \
                    lw weight dt dashes front
            }
        }
    }

    # A curve is one line over the bins' tops, down to the axis at both ends, so that dashes run on.
    members = words(MEMBERS[p])
    do for [k = 1:members] {
        i = word(MEMBERS[p], k) + 0
        path = sprintf("%.17g\t0\n", FIRST[i])
        stats table("histogram.csv") using (named(NAME[i]) ? (path = path . \
            sprintf("%.17g\t%.17g\n%.17g\t%.17g\n", column("low"), column("density"), \
                    column("high"), column("density")), 0) : 0) nooutput
        eval sprintf("set print $Curve%d", k)
        print path . sprintf("%.17g\t0", LAST[i])
        set print
    }
    set datafile nocolumnheaders
    wash = members == 1 ? "#d3dfe3" : "#e4ebed"
    plot $Curve1 using 1:2 with filledcurves y1=0 fs solid 1 noborder fc rgb wash, \
        for [k = 1:members] sprintf("$Curve%d", k) using 1:2 with lines lt k
    set datafile columnheaders
}
unset multiplot
unset output
