#!/bin/sh
# Checks a record with standard tools alone; README.txt says what each step means.
#     sh check.sh [-d FOLDER] [SEAL-CODE [AUTHORITY.pem]]
# The record may come from somebody who changed this file: take it from the program's source, and name the folder.
# Needs sha256sum, awk, find, xargs, sort and openssl 3; busybox has all but openssl.
# Exit status: 0 holds, 5 broken, 2 cannot check.
set -u
LC_ALL=C
export LC_ALL
broken() { printf 'BROKEN: %s\n' "$(printf %s "$1" | tr -c '\040-\176' '?')"; exit 5; }  # a file's name may be anything
cannot() { echo "cannot check: $1"; exit 2; }
for tool in sha256sum openssl awk find xargs sort uniq cmp od; do
    command -v "$tool" > /dev/null || cannot "$tool is missing"
done
folder=$(dirname "$0")
own=$(sha256sum < "$0" | cut -c 1-64)
[ "${1-}" != -d ] || { folder=${2:?}; shift 2; }
code=$(printf %s "${1-}" | tr 'a-z' 'A-Z' | tr 'ILO' '110' | tr -d ' \342\200\223-' | sed 's/^CUREWATCHSEA1//')  # 28 characters, or 64 digits
[ "$#" -eq 0 ] || printf '%s\n' "$code" | awk 'BEGIN { all = "0123456789ABCDEFGHJKMNPQRSTVWXYZ" }
    length($0) == 64 && !/[^0-9A-F]/ { good = 1 }
    length($0) == 28 { for (i = 1; i <= 26; i++) v = (v * 32 + index(all, substr($0, i, 1)) - 1) % 1021
        good = !/[^0-9A-HJKMNP-TV-Z]/ && v == 32 * index(all, substr($0, 27, 1)) + index(all, substr($0, 28)) - 33 }
    END { exit !(good && NR == 1) }' || cannot "the seal code has a slip in it: it has 28 characters, or 64 digits; read it again"
roots=${2-}
[ -z "$roots" ] || roots=$(cd "$(dirname "$roots")" && pwd)/$(basename "$roots")
[ -z "$roots" ] || [ -f "$roots" ] || cannot "there is no file $2"
cd "$folder" || exit 2
work=$(mktemp -d) || exit 2
trap 'rm -rf "$work"' EXIT

signed() { openssl pkeyutl -verify -pubin -inkey key.pem -rawin -in "$1" -sigfile "$2" > /dev/null 2>&1; }
bytes() { # hexadecimal digits as bytes
    # shellcheck disable=SC2059  # octal numbers and nothing else
    printf "$(printf %s "$1" | awk '{ for (i = 1; i < length($0); i += 2) printf "\\%03o", \
        16 * index("123456789abcdef", substr($0, i, 1)) + index("123456789abcdef", substr($0, i + 1, 1)) }')"
}
signed_by() { # public key, file, signature; the keys and signatures in hexadecimal digits
    [ "$(printf %s "$1$3" | tr -d '0-9a-f' | wc -c)" -eq 0 ] && [ "${#3}" -eq 128 ] || return 1
    bytes "302a300506032b6570032100$1" > "$work/der"
    bytes "$3" > "$work/sig"
    openssl pkeyutl -verify -pubin -keyform DER -inkey "$work/der" -rawin -in "$2" -sigfile "$work/sig" > /dev/null 2>&1
}
digests() { find "$work" -name "$1.*" -print0 | xargs -0 -r sha256sum | sed "s|$work/$1[.]||" | sort -k2,2 > "$work/$2"; }
same() { cmp -s "$work/$1" "$work/expected" || broken "$2 $(cat "$work/$1" "$work/expected" | sort | uniq -u | awk '{ print $2; exit }')"; }
# A time (a day that there is, from year 1), the beginning of an entry's line up to what it says, and the six lines of a seal
year='(000[1-9]|00[1-9][0-9]|0[1-9][0-9][0-9]|[1-9][0-9][0-9][0-9])'
leap='([0-9][0-9](0[48]|[2468][048]|[13579][26])|(0[48]|[2468][048]|[13579][26])00)'
day='((0[13578]|1[02])-(0[1-9]|[12][0-9]|3[01])|(0[469]|11)-(0[1-9]|[12][0-9]|30)|02-(0[1-9]|1[0-9]|2[0-8]))'
time="($year-$day|$leap-02-29)"'T([01][0-9]|2[0-3]):[0-5][0-9]:[0-5][0-9][.][0-9][0-9][0-9]Z'
top='^[{]"at":"'$time'","block":[0-9]+,"job":(null|"([^"\\]|\\.)*"),"key":(null|"([^"\\]|\\.)*"),"kind":"([^"\\]|\\.)*","number":[0-9]+,"payload":'
seal_lines='curewatch seal 2\|block (0|[1-9][0-9]{0,14})\|head [0-9a-f]{64}\|at [-0-9T:.]{23}Z\|reason (day|job-close|record)\|key [0-9a-f]{64}\|'
export time top
seconds='function seconds(s,  y, m, a) { y = substr(s, 1, 4); m = substr(s, 6, 2); a = int((14 - m) / 12); y += 4800 - a; m += 12 * a - 3
    return (substr(s, 9, 2) + int((153 * m + 2) / 5) + 365 * y + int(y / 4) - int(y / 100) + int(y / 400) - 2472633) * 86400 \
        + substr(s, 12, 2) * 3600 + substr(s, 15, 2) * 60 + substr(s, 18, 6) }'

# 0 limits, before anything is read: 64 plain files, each of 36 MB at most, and as much of all those that prove
listed="README.txt check.sh account.json pages.json entries.jsonl readings.csv blocks.csv digests.csv seal.txt seal.sig key.pem seal.tsr authority.pem "
[ "$(find . -maxdepth 1 | head -n 66 | wc -l)" -le 65 ] || broken "the folder has more than the 64 files of a record"
strange=$(find . -maxdepth 1 ! -name . ! -type f | head -n 1)
[ -z "$strange" ] || broken "${strange#./} cannot be checked: it is no file"
large=$(find . -maxdepth 1 -size +73728 | head -n 1)
[ -z "$large" ] || broken "${large#./} has more than 36 MB"
# shellcheck disable=SC2086  # names without blanks
[ "$(cat $listed files.sha256 files.sig 2> /dev/null | head -c 37748737 | wc -c)" -le 37748736 ] || broken "the files have more than 36 MB"

# 1 every file is as it was signed
[ "$(sed 's/^[0-9a-f]\{64\}  //' files.sha256 | tr '\n' ' ')$(tail -c 1 files.sha256)" = "$listed" ] || broken "files.sha256 does not list the files of a record"
sha256sum -c files.sha256 > /dev/null 2>&1 || broken "a file is not as it was signed"
signed files.sha256 files.sig || broken "files.sha256 was not signed with key.pem"
[ "$own" = "$(sha256sum < check.sh | cut -c 1-64)" ] || broken "check.sh of this record is another one than this"

readme=76d94a3f9c4018c739ff5ef3447832ba65a3816636a06822111a845916e08dd0
[ "$readme" = "$(sha256sum < README.txt | cut -c 1-64)" ] || broken "README.txt of this record is another one than this check's"

# 2 the seal
signed seal.txt seal.sig || broken "seal.txt was not signed with key.pem"
key=$(openssl pkey -pubin -in key.pem -outform DER | tail -c 32 | od -An -v -tx1 | tr -d ' \n')
tr '\n' '|' < seal.txt | grep -q -x -E "$seal_lines" || broken "seal.txt is not the text of a seal"
openssl pkey -pubin -in key.pem | cmp -s - key.pem || broken "key.pem is not as this program writes it"
[ "$key" = "$(awk '$1 == "key" { print $2 }' seal.txt)" ] || broken "seal.txt names another key"

# 3 readings: the lines of each block, and how many; tables are of plain letters, each line as this program writes it
plain() { [ "$(cat "$1" | tr -d '\012\040-\176' | wc -c)" -eq 0 ] && [ -z "$(tail -c 1 "$1")" ] || broken "$1 is no plain text, or has no end"; }
table() { # file, heading, lines
    plain "$1"
    [ "$(head -n 1 "$1")" = "$2" ] || broken "$1 has another heading than this program writes"
    ! tail -n +2 "$1" | grep -q -v -x -E "$3" || broken "$1 has a line that this program does not write"
}
n='(0|[1-9][0-9]{0,14})'
d='[0-9a-f]{64}'
plain entries.jsonl
table blocks.csv block,previous,readings,readings_digest,entries,entries_digest,head,readings_are,form "$n,$d,$n,$d,$n,$d,$d,(here,[1-9][0-9]{0,2}|left out,$n)"
table digests.csv block,entry,kind,owner,digest "$n,$n,[A-Za-z0-9 -]{1,200},(-|[0-9a-f]{32}),$d"
columns=block,sensor,time,received,flags,sequence,temperature_c,humidity_percent,carbon_dioxide_ppm,battery_percent
awk -F, 'NR > 1 && $8 == "here" && $9 > 1 { found = 1 } END { exit !found }' blocks.csv && columns=$columns,pressure_hpa
further=$(head -n 1 readings.csv) # of forms that came after this program: columns more, at the end
awk -F, 'NR > 1 && $8 == "here" && $9 > 2 { found = 1 } END { exit !found }' blocks.csv &&
    echo "$further" | grep -q -x -E "$columns(,[a-z][a-z0-9_]*)+" && columns=$further
three='(|-?(0|[1-9][0-9]{0,5}|1[0-9]{6})[.][0-9]{3})'  # decimals
one='(|-?(0|[1-9][0-9]{0,7}|1[0-9]{8})[.][0-9])'
table readings.csv "$columns" "$n,[^,]+,$time,$time,(0|[1-9][0-9]{0,4}),(|0|-?[1-9][0-9]{0,18}),$three,$three,$one,$three(,$three(,[^,]*)*)?"
! grep -q -E ',-0([.]0+)?(,|$)' readings.csv || broken "readings.csv has a nought with a sign"
awk -F, -v to="$work/r." -v sensor_list="$work/sensors" 'FILENAME == "blocks.csv" { form[$1] = $9; next } FNR == 1 { width = NF; next }
    $1 != at { if (at) close(to at); if ($1 + 0 <= at + 0) exit 1; at = $1 }
    NF != (form[at] == 1 ? 10 : form[at] == 2 ? 11 : NF) || NF > width || form[at] > 2 && NF < 12 || $5 > 65535 { exit 1 }
    { sequence = $6; sub(/^-/, "", sequence) }
    length($0) > 1999 || length(sequence) > 18 && "n" sequence >= "n4611686018427387904" { exit 1 }
    !($2 in sensor) { if (++sensors > 65535) exit 1; sensor[$2]; print $2 > sensor_list }
    { print >> (to at) }' blocks.csv readings.csv || broken "readings.csv is no table of readings, block by block"
safe='[A-Za-z0-9_.~/:-]' # a sensor: letters and marks, and what is none of them, in UTF-8, as %XX
coded='%([01][0-9A-F]|2[0-9A-C]|3[BCDEF]|40|5[BCDE]|60|7[BCDF])'
two='%[89AB][0-9A-F]'
coded="$coded|%(C[2-9A-F]|D[0-9A-F])$two|%(E0%[AB][0-9A-F]|E[1-9A-CEF]$two|ED%[89][0-9A-F])$two|%(F0%[9AB][0-9A-F]|F[123]$two|F4%8[0-9A-F])$two$two"
[ ! -e "$work/sensors" ] || ! grep -q -v -x -E "([A-Za-z0-9]|%(2[DEF]|3A|5F|7E)|$coded)($safe|$coded)*" "$work/sensors" \
    || broken "readings.csv names a sensor as this program does not write it"
digests r readings
awk -F, 'NR > 1 && $8 == "here" && $3 > 0 { print $4 "  " $1 }' blocks.csv | sort -k2,2 > "$work/expected"
same readings "readings of block"
awk -F, 'FILENAME == "readings.csv" { n[$1]++; next } FNR > 1 && $8 == "here" && n[$1] + 0 != $3 { print $1; exit }' readings.csv blocks.csv > "$work/wrong"
[ ! -s "$work/wrong" ] || broken "readings of block $(cat "$work/wrong"): more, or fewer"

# 4 entries: each line, the list of each block, and what is left out
awk -v to="$work" 'BEGIN { top = ENVIRON["top"] }
    !match($0, top) { print "a line that is no entry"; exit 1 }
    { number = job = kind = prefix = substr($0, 1, RLENGTH); said = substr($0, RLENGTH + 1); block = prefix
      sub(/^.*"number":/, "", number); sub(/,.*/, "", number); sub(/^[^,]*,"block":/, "", block); sub(/,.*/, "", block)
      sub(/^[^,]*,[^,]*,"job":/, "", job); sub(/,"key":(null|"([^"\\]|\\.)*"),"kind":"([^"\\]|\\.)*","number":.*$/, "", job)
      sub(/^.*"kind":"/, "", kind); sub(/".*/, "", kind)
      shape = $0  # every text, number and word is an s, and so is what is made of them
      gsub(/"([^"\\]|\\(["\\nrtbf]|u(00(0[0-7be-f]|1[0-9a-f]|7f|[89a-f][0-9a-f])|0[1-9a-f][0-9a-f][0-9a-f]|[1-9a-f][0-9a-f][0-9a-f][0-9a-f])))*"/, "s", shape)
      gsub(/true|false|null|-?(0|[1-9][0-9]*)([.][0-9]+)?(e[-+][0-9]+)?/, "s", shape)
      for (deep = 0; deep < 64 && gsub(/[{](s:s(,s:s)*)?[}]|[[](s(,s)*)?[]]/, "s", shape); deep++) continue
      if (shape != "s" || said !~ "[}],\"recorded\":\"" ENVIRON["time"] "\"[}]$") { print "entry " number " as this program does not write it"; exit 1 }
      if (number + 0 <= last) { print "entry " number " twice or out of order"; exit 1 }
      last = number + 0; name = to "/l." number; ORS = ""; print > name; close(name); ORS = "\n"
      print number "\t" block "\t" kind "\t" substr($0, 8, 24) "\t" job > (to "/told")
      if (kind == "account" || kind == "prune") print number "\t" block "\t" kind "\t" substr($0, 8, 24) "\t" said > (to "/said") }' \
    entries.jsonl > "$work/wrong" || broken "entries.jsonl has $(cat "$work/wrong")"
# names once and in the order of their letters, numbers in the fewest digits that give them; texts are cut out at their marks
awk 'BEGIN { RS = "\""; line = 1 }
    function wrong(what) { print "line " line ": " what; bad = 1; exit 1 }
    function ordered(name) { # the same order as of the letters themselves: below a blank, plain, of two bytes, of four
        gsub(/\\\\/, "\001", name); gsub(/\\"/, "\"", name); gsub(/\\b/, "\0020008", name); gsub(/\\t/, "\0020009", name)
        gsub(/\\n/, "\002000a", name); gsub(/\\f/, "\002000c", name); gsub(/\\r/, "\002000d", name); gsub(/\\u00[01]/, "\002&", name)
        gsub(/\002\\u/, "\002", name); gsub(/\\ud[89ab][0-9a-f][0-9a-f]\\ud[c-f]/, "\177g&", name); gsub(/\\u/, "\177", name)
        gsub(/\001/, "\\\\", name); return ":" name }
    function fewest(t,  p, x, m, e, sign) {
        if (t ~ /^-?[0-9]+$/) return t != "-0" && length(t) <= 4300 + (t ~ /^-/)
        sign = sub(/^-/, "", t) ? "-" : ""
        for (p = 0; p < 17; p++) { x = sprintf("%." p "e", t + 0); if (x + 0 == t + 0) break }
        if (x !~ /^[0-9]/) return 0
        m = e = x; sub(/e.*/, "", m); sub(/[.]/, "", m); sub(/.*e/, "", e); e += 0
        if (e < -4 || e > 15) return t == substr(m, 1, 1) (p ? "." substr(m, 2) : "") sprintf("e%s%02d", e < 0 ? "-" : "+", e < 0 ? -e : e)
        if (e < 0) return t == "0." substr("000", 1, -e - 1) m
        while (length(m) < e + 2) m = m "0"
        return t == substr(m, 1, e + 1) "." substr(m, e + 2) }
    text { end = $0; sub(/.*[^\\]/, "", end); if (named) { name = name $0 (length(end) % 2 ? "\"" : ""); if (length(name) > 2000) wrong("a name without end") }
        if (length(end) % 2) next
        if (named) { name = ordered(name); if (name <= last[deep]) wrong("a name twice, or names in another order"); last[deep] = name }
        text = 0; next }
    { for (i = 1; i <= length($0); i++) { c = substr($0, i, 1)
          if (c ~ /[-+0-9.]/ || c == "e" && number != "") { number = number c; if (length(number) > 4301) wrong("a number without end"); continue }
          if (number != "" && !fewest(number)) wrong("a number in other digits"); number = ""
          if (c == "{" || c == "[") { kind[++deep] = c; last[deep] = "" } else if (c == "}" || c == "]") deep--
          else if (c == "\n") line++
          named = c == "{" || c == "," && kind[deep] == "{" }
      text = 1; name = "" }
    END { exit bad }' entries.jsonl > "$work/wrong" || broken "entries.jsonl $(cat "$work/wrong")"
digests l lines
awk -F, 'NR > 1 { print $5 "  " $2 }' digests.csv | sort -k2,2 > "$work/listed"
grep -v -x -F -f "$work/listed" "$work/lines" > "$work/strange"
[ ! -s "$work/strange" ] || broken "entry $(awk 'NR == 1 { print $2 }' "$work/strange")"
awk -F'\t' '$5 != "null" && $5 !~ /\\/ && !seen[$5]++ { print substr($5, 2, length($5) - 2) }' "$work/told" | while IFS= read -r job; do
    printf '%s\t%s\n' "\"$job\"" "$(printf 'job %s' "$job" | sha256sum | cut -c 1-32)"
done > "$work/owners"
awk -F'\t' -v owners="$work/owners" 'FILENAME == owners { of[$1] = $2; next }
    FILENAME == "digests.csv" { split($0, c, ","); row[c[2]] = c[1] "," c[3]; owner[c[2]] = c[4]; next }
    { own = owner[$1]; if (row[$1] != $2 "," ($3 ~ /^[a-zA-Z0-9 -]+$/ && length($3) <= 200 ? $3 : "other") || ($5 == "null") != (own == "-") || ($5 in of && of[$5] != own) \
        || ($5 in had && had[$5] != own) || (own != "-" && own in name && name[own] != $5)) { print $1; exit } had[$5] = own; name[own] = $5 }' \
    "$work/owners" digests.csv "$work/told" > "$work/wrong"
[ ! -s "$work/wrong" ] || broken "entry $(cat "$work/wrong") is of another block, kind or owner than digests.csv lists"
here=$(awk -F, '$8 == "here" { print $1; exit }' blocks.csv)
awk -F'\t' '{ print $1 }' "$work/told" > "$work/full"
awk -F, -v here="${here:-999999999999999}" '
    BEGIN { split("daemon dropped health sensor source alert clock configuration gap key prune rejected restored seal sensor-check stamp", k, " ")
            for (n in k) shed[k[n]] = 1 }
    reading_full { full[$1] = 1; next }
    FNR == 1 { next }
    { if ($2 in kind) { print $2 " is listed twice"; twice = 1; exit }
      kind[$2] = $3; owner[$2] = $4; block[$2] = $1; if (($2 in full) && $3 == "job-open" && !($4 in own)) { own[$4] = 1; jobs++ } }
    END { if (twice) exit
          if (jobs != 1) print "of one job: its opening is not here"
          for (n in kind) if (!(n in full) && ((owner[n] in own) || (owner[n] == "-" && (kind[n] in shed) && block[n] + 0 >= here + 0)))
              { print n " (" kind[n] ") is left out"; exit } }' reading_full=1 "$work/full" reading_full=0 digests.csv > "$work/missing"
[ ! -s "$work/missing" ] || broken "entry $(head -n 1 "$work/missing")"
awk -F, -v to="$work/e." 'NR == 1 { next } $1 != at { if (at) close(to at); at = $1 } { print $2 "," $3 "," $4 "," $5 >> (to at) }' digests.csv
digests e lists
awk -F, 'NR > 1 && $5 > 0 { print $6 "  " $1 }' blocks.csv | sort -k2,2 > "$work/expected"
same lists "entries of block"
awk -F, 'FILENAME == "digests.csv" { n[$1]++; next } FNR > 1 && n[$1] + 0 != $5 { print $1; exit }' digests.csv blocks.csv > "$work/wrong"
[ ! -s "$work/wrong" ] || broken "entries of block $(cat "$work/wrong"): more, or fewer"

# 5 heads, and that each block follows the one before
awk -F, -v to="$work/f." '
    NR == 1 { next }
    NR > 2 && ($1 != last + 1 || $2 != head) { print "block " $1 " does not follow"; exit 1 }
    { last = $1; head = $7; name = to $1
      print "curewatch block\nform " $9 "\nnumber " $1 "\nprevious " $2 "\nreadings " $3 " " $4 "\nentries " $5 " " $6 > name
      close(name) }' blocks.csv > "$work/order" || broken "$(cat "$work/order")"
digests f faces
awk -F, 'NR > 1 { print $7 "  " $1 }' blocks.csv | sort -k2,2 > "$work/expected"
same faces "head of block"

# 6 the sealed head
sealed=$(awk '$1 == "block" { print $2 }' seal.txt)
[ "$(awk '$1 == "head" { print $2 }' seal.txt)" = "$(awk -F, -v n="$sealed" '$1 == n { print $7 }' blocks.csv)" ] \
    || broken "the seal names another head for block $sealed"
[ "$sealed" = "$(tail -n 1 blocks.csv | cut -d , -f 1)" ] || broken "the chain does not end at the sealed block"

# 7 seals and changes of key among the entries, in their order: who signed, the head, and that each key follows
cp seal.txt "$work/s.0"
: > "$work/signed"
awk -v to="$work" 'BEGIN { top = ENVIRON["top"] }
    function part(name) { return match(said, "[{,]\"" name "\":\"[^\"]*\"") ? substr(said, RSTART + length(name) + 5, RLENGTH - length(name) - 6) : "" }
    match($0, top) { kind = prefix = substr($0, 1, RLENGTH); said = substr($0, RLENGTH + 1); number = prefix
        sub(/^.*"kind":"/, "", kind); sub(/".*/, "", kind); sub(/^.*"number":/, "", number); sub(/,.*/, "", number)
        if (kind != "seal" && kind != "key") next
        if (kind == "seal" && said !~ /^[{]"code":"[^"\\]*","reason":"[^"\\]*","signature":"[^"\\]*","text":"([^"\\]|\\n)*"[}],"recorded":"[^"]*"[}]$/ \
            || kind == "key" && said !~ /^[{]"old_signature":"[^"\\]*","signature":"[^"\\]*","text":"([^"\\]|\\n)*"[}],"recorded":"[^"]*"[}]$/) { print number " (" kind ")"; exit 1 }
        text = part("text"); gsub(/\\n/, "\n", text); name = to "/" (kind == "seal" ? "s." : "c.") number
        ORS = ""; print text > name; close(name); ORS = "\n"
        print number, kind, substr($0, 8, 24), part("signature") ":" part("old_signature") ":" part("code") ":" part("reason") > (to "/signed") }' \
    entries.jsonl > "$work/wrong" || broken "entry $(cat "$work/wrong") is not as this program writes it"
now=""
while read -r number kind at said; do
    sig=${said%%:*} said=${said#*:}
    old=${said%%:*} said=${said#*:}
    name=$work/s.$number
    [ "$kind" = seal ] || name=$work/c.$number
    lines=$(tr '\n' '|' < "$name")
    if [ "$kind" = key ]; then
        printf %s "$lines" | grep -q -x -E "curewatch key 1\|old [0-9a-f]{64}\|new [0-9a-f]{64}\|at $at\|reason (changed|lost)\|" \
            || broken "entry $number (key) is no change of key"
        was=$(sed -n 's/^old //p' "$name")
        next=$(sed -n 's/^new //p' "$name")
        how="signed by both"
        [ -n "$old" ] || how="lost: the old key did not sign it"
        [ "${now:-$was}" = "$was" ] || broken "entry $number (key) follows another key"
        [ -z "$old" ] || signed_by "$was" "$name" "$old" || broken "entry $number (key): the old key did not sign it"
        [ "$(sed -n 's/^reason //p' "$name")" = "$([ -z "$old" ] && echo lost || echo changed)" ] || broken "entry $number (key): lost, or signed by the old key"
        echo "key changed at $at from $was to $next ($how)" >> "$work/changes"
    else
        printf %s "$lines" | grep -q -x -E "$seal_lines" || broken "entry $number (seal) is not the text of a seal"
        next=$(sed -n 's/^key //p' "$name")
        n=$(sed -n 's/^block //p' "$name")
        [ "${now:-$next}" = "$next" ] || broken "seal $number among the entries names another key"
        head=$(awk -F, -v n="$n" '$1 == n { print $7 }' blocks.csv)
        [ "${head:-$(sed -n 's/^head //p' "$name")}" = "$(sed -n 's/^head //p' "$name")" ] || broken "seal $number among the entries names another head"
        [ "$(sed -n 's/^at //p' "$name")" = "$at" ] || broken "seal $number among the entries names another time"
        [ "$n" -lt "$(awk -F'\t' -v n="$number" '$1 == n { print $2 }' "$work/told")" ] || broken "seal $number covers a block after it"
        [ "$(sed -n 's/^reason //p' "$name")" = "${said#*:}" ] || broken "seal $number among the entries names another reason"
        echo "$number ${said%%:*}" >> "$work/codes-told"
    fi
    signed_by "$next" "$name" "$sig" || broken "entry $number ($kind) was not signed with the key it names"
    now=$next
done < "$work/signed"
[ "${now:-$key}" = "$key" ] || broken "the entries name another key than key.pem"
digests s seals
awk '{ v = 0; out = ""; digits = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"; bits = 0; left = 1
       for (i = 1; length(out) < 26; i++) { bits = bits * 16 + index("0123456789abcdef", substr($1, i, 1)) - 1; left *= 16
           if (left >= 32) { left /= 32; d = int(bits / left); bits -= d * left
                             out = out substr(digits, d + 1, 1); v = (v * 32 + d) % 1021 } }
       print out substr(digits, int(v / 32) + 1, 1) substr(digits, v % 32 + 1, 1), $2, toupper($1) }' "$work/seals" > "$work/codes"
[ ! -e "$work/codes-told" ] || awk 'NR == FNR { code[$2] = $1; next } { gsub(/-/, "", $2); if (code[$1] != $2) { print $1; exit } }' \
    "$work/codes" "$work/codes-told" > "$work/wrong"
[ ! -s "$work/wrong" ] || broken "seal $(cat "$work/wrong") among the entries tells another code"
[ -z "$code" ] || grep -q -e "^$code " -e " $code\$" "$work/codes" || broken "no seal of this record has the code $1"

# 8 time stamps: somebody else's word that a seal was there
dated() { # response, digest, certificates that it must lead to, what it dates, and the time that this names itself
    openssl ts -reply -in "$1" -text > "$work/ts" 2> /dev/null || broken "the time stamp of $4 is none"
    at=$(sed -n 's/^Time stamp: //p' "$work/ts")
    then=$(echo "$at" | awk "$seconds"'{ m = (index("JanFebMarAprMayJunJulAugSepOctNovDec", $1) + 2) / 3; split($3, t, ":")
        printf "%d", seconds(sprintf("%04d-%02d-%02dT%02d:%02d:%02d", $4, m, $2, t[1], t[2], t[3])) }')
    ended=""
    openssl ts -verify -attime "$then" -digest "$2" -in "$1" -CAfile "$3" > /dev/null 2>&1 \
        || broken "the time stamp of $4 is not of this seal, or not by the authority that is trusted"
    openssl ts -verify -digest "$2" -in "$1" -CAfile "$3" > /dev/null 2>&1 || ended="; its certificate has ended since"
    [ -n "${5-}" ] || return 0  # of a seal that is not here: it dates nothing of this record
    ahead=$(echo "$5" | awk -v then="$then" "$seconds"'{ if (seconds($0) - then > 120) print "; the seal names a later time: its clock was ahead" }')
    echo "dated: $4 was there on $at: so says $(sed -n 's/^TSA: //p' "$work/ts")$ended$ahead" >> "$work/dated"
}
awk -v to="$work" 'BEGIN { top = ENVIRON["top"] }
    function part(name) { return match(said, "[{,]\"" name "\":\"[^\"]*\"") ? substr(said, RSTART + length(name) + 5, RLENGTH - length(name) - 6) : "" }
    match($0, top) { kind = number = substr($0, 1, RLENGTH); said = substr($0, RLENGTH + 1)
        sub(/^.*"kind":"/, "", kind); sub(/".*/, "", kind); sub(/^.*"number":/, "", number); sub(/,.*/, "", number)
        if (kind != "stamp") next
        if (said !~ /^[{]"digest":"[0-9a-f]+","response":"[A-Za-z0-9+\/=]*","roots":"([^"\\]|\\n)*"[}],"recorded":"[^"]*"[}]$/) { print number; exit 1 }
        roots = part("roots"); gsub(/\\n/, "\n", roots); print roots > (to "/t." number ".pem"); print part("response") > (to "/t." number ".b64")
        print number, part("digest") > (to "/stamps") }' entries.jsonl > "$work/wrong" || broken "entry $(cat "$work/wrong") (stamp) is none"
[ ! -e "$work/stamps" ] || while read -r number digest; do
    openssl base64 -d -A -in "$work/t.$number.b64" -out "$work/t.$number.tsr" || broken "entry $number (stamp) is none"
    of=$(awk -v d="$digest" '$1 == d { print $2 }' "$work/seals")
    what="a seal that is not here" own_time=""
    [ -z "$of" ] || what="all up to block $(sed -n 's/^block //p' "$work/s.$of")" own_time=$(sed -n 's/^at //p' "$work/s.$of")
    dated "$work/t.$number.tsr" "$digest" "${roots:-$work/t.$number.pem}" "$what" "$own_time"
done < "$work/stamps"
[ ! -s seal.tsr ] || dated seal.tsr "$(sha256sum < seal.txt | cut -c 1-64)" "${roots:-authority.pem}" "this seal" "$(sed -n 's/^at //p' seal.txt)"
[ -z "$roots" ] || [ -e "$work/dated" ] || broken "no time stamp by the authority that was given"

# 9 what the pages say, as data, is what the chain was told just before the seal; nothing of the job or older came after it
grep "^[0-9]*.[0-9]*.account" "$work/said" 2> /dev/null | tail -n 1 > "$work/account"
number=$(cut -f 1 "$work/account") block=$(cut -f 2 "$work/account") at=$(cut -f 4 "$work/account")
told=$(cut -f 5 "$work/account" | sed -n 's/^{"account":"\([0-9a-f]\{64\}\)","block":\([0-9]*\),"edition":"[^"\\]*","pages":"\([0-9a-f]\{64\}\)",.*/\1 \3 \2/p')
[ "$told" = "$(sha256sum < account.json | cut -c 1-64) $(sha256sum < pages.json | cut -c 1-64) $((${block:-0} - 1))" ] \
    || broken "account.json or pages.json is not what was sealed"
grep -q -x "reason record" seal.txt && grep -q -x "at $at" seal.txt || broken "the seal was not made for the account of entry $number"
awk -F'\t' -v n="$number" -v block="$block" '{ job[$1] = $5; at[$1] = $2 } END { for (e in job) if (e != n && job[e] == job[n] && at[e] + 0 >= block + 0) { print e; exit } }' \
    "$work/told" > "$work/wrong"
[ ! -s "$work/wrong" ] || broken "entry $(cat "$work/wrong") of the job stands after its account"
awk -F, -v block="$block" -v at="$at" "$seconds"' NR > 1 && $1 + 0 >= block + 0 && seconds($4) < seconds(at) - 120 { first[$1]; bad = $1 } END { if (bad) print bad }' \
    readings.csv > "$work/wrong"
[ ! -s "$work/wrong" ] || broken "block $(cat "$work/wrong") has readings older than the account before it"
start=$(sed -n 's/^ "start": "\(.*\)",$/\1/p' account.json)
[ ! -e "$work/said" ] || awk -F'\t' '$3 == "prune" && match($5, /^[{]"before":[-+.0-9e]+,"blocks":\[[][0-9,]*\]/) { s = substr($5, 1, RLENGTH); sub(/.*"blocks":/, "", s)
        gsub(/[][]/, " ", s); n = split(s, r, /[ ,]+/); for (i = 1; i < n; i++) if (r[i] != "") { print r[i], r[i + 1]; i++ } }' "$work/said" > "$work/pruned"
awk -F, -v start="$start" -v pruned="$work/pruned" "$seconds"'
    FILENAME == pruned { split($0, r, " "); from[++runs] = r[1] + 0; to[runs] = r[2] + 0; next }
    FILENAME == "readings.csv" { if (FNR > 1 && (block == "" || $1 == block)) { block = $1; s = seconds($4); if (begun == "" || s < begun) begun = s } next }
    function gone(n,  i) { for (i = 1; i <= runs; i++) if (from[i] <= n && n <= to[i]) return 1; return 0 }
    FNR > 1 { last = $1; held[$1] = $8 == "here"; if (held[$1] && !first) first = $1 }
    END { if (!first) first = last + 1
          if (first != 1 && !(begun != "" && begun < seconds(start) - 86400) && !gone(first - 1)) print first - 1
          for (n = first + 1; n <= last + 0; n++) if (!held[n] && !gone(n)) { print n; exit } }' \
    $([ -s "$work/pruned" ] && echo "$work/pruned") readings.csv blocks.csv > "$work/wrong"
[ ! -s "$work/wrong" ] || broken "readings of block $(head -n 1 "$work/wrong") are left out"

# 10 all else that stands here: as it was listed and signed; a PDF, by the signature and the files it names
proof=$(sha256sum < files.sha256 | cut -c 1-64)
if [ -e pages.sha256 ] || [ -e pages.sig ]; then
    signed pages.sha256 pages.sig || broken "pages.sha256 was not signed with key.pem"
    grep -q -x "$proof  files.sha256" pages.sha256 || broken "pages.sha256 lists pages of other files"
    awk '$2 != "files.sha256" && $2 != "record.pdf" && $2 != "record.html" { exit 1 }' pages.sha256 || broken "pages.sha256 lists what is no page"
fi
for path in ./* ./.[!.]* ./..?*; do
    [ -e "$path" ] || [ -h "$path" ] || continue
    page=${path#./}
    case $page in
        README.txt | check.sh | account.json | pages.json | entries.jsonl | readings.csv | blocks.csv | digests.csv) continue ;;
        seal.txt | seal.sig | key.pem | seal.tsr | authority.pem | files.sha256 | files.sig | pages.sha256 | pages.sig) continue ;;
    esac
    told=""
    case $page in
        record.html | record.pdf) told=$(awk -v name="$page" '$2 == name { print $1 }' pages.sha256 2> /dev/null) ;;
    esac
    [ -z "$told" ] || [ "$told" = "$(sha256sum < "$path" | cut -c 1-64)" ] || broken "$page is not as it was signed"
    if [ "$(head -c 5 "$path")" != "%PDF-" ]; then
        [ -n "$told" ] || broken "$page cannot be checked: no list of this record names it"
        continue
    fi
    sig=$(grep -a -o 'curewatch-signature-[0-9a-f]\{128\}' "$path" | sed 's/.*-//' | sort -u)
    [ "${#sig}" -eq 128 ] || broken "$page carries no signature"
    [ "$(grep -a -o 'curewatch-files-[0-9a-f]\{64\}' "$path" | sort -u)" = "curewatch-files-$proof" ] \
        || broken "$page was not laid out with these files"
    sed "s/$sig/$(printf '%0128d' 0)/g" "$path" > "$work/unsigned"
    if [ "$(wc -c < "$work/unsigned")" -ne "$(wc -c < "$path")" ]; then  # some sed end every file with a line feed
        head -c "$(wc -c < "$path")" "$work/unsigned" > "$work/cut"
        mv "$work/cut" "$work/unsigned"
    fi
    signed_by "$key" "$work/unsigned" "$sig" || broken "$page as a whole is not as it was signed with key.pem"
done

echo "HOLDS: blocks $(sed -n 2p blocks.csv | cut -d , -f 1) to $sealed, $(($(wc -l < readings.csv) - 1)) readings, $(wc -l < entries.jsonl | tr -d ' ') entries"
echo "seal code $(awk '$2 == "0" { print $1 }' "$work/codes" | sed 's/..../&-/g; s/-$//')"
echo "key $key"
[ ! -e "$work/changes" ] || cat "$work/changes"
if [ -e "$work/dated" ]; then
    cat "$work/dated"
    [ -n "$roots" ] || echo "by certificates that this record names itself: name the authority's own, sh check.sh CODE AUTHORITY.pem"
else
    echo "dated by nobody else"
fi
sha256sum ./* | sed 's|  [.]/|  |; s/^/checked /' | tr -c '\040-\176\n' '?'
