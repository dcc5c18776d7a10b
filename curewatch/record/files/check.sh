#!/bin/sh
# Checks a record with standard tools alone; README.txt says what each step means.
# Needs sha256sum, awk, find, xargs, sort and openssl 3. Exit status: 0 holds, 5 broken, 2 cannot check.
set -u
LC_ALL=C
export LC_ALL
broken() { echo "BROKEN: $1"; exit 5; }
for tool in sha256sum openssl awk find xargs sort; do
    command -v "$tool" > /dev/null || { echo "cannot check: $tool is missing"; exit 2; }
done
cd "$(dirname "$0")" || exit 2
code=$(printf %s "${1-}" | tr 'a-z' 'A-Z' | tr 'ILO' '110' | tr -d ' -' | sed 's/^CUREWATCHSEA1//')  # 28 characters, or 64 digits
work=$(mktemp -d) || exit 2
trap 'rm -rf "$work"' EXIT

signed() { openssl pkeyutl -verify -pubin -inkey key.pem -rawin -in "$1" -sigfile "$2" > /dev/null 2>&1; }
digests() { find "$work" -name "$1.*" -print0 | xargs -0 -r sha256sum | sed "s|$work/$1[.]||" | sort -k2,2 > "$work/$2"; }

# 1 every file is as it was signed
[ "$(awk '{ print $2 }' files.sha256 | tr '\n' ' ')" = \
  "README.txt check.sh account.json pages.json entries.jsonl readings.csv blocks.csv digests.csv seal.txt seal.sig key.pem " ] \
    || broken "files.sha256 does not list the files of a record"
sha256sum -c files.sha256 > /dev/null 2>&1 || broken "a file is not as it was signed"
signed files.sha256 files.sig || broken "files.sha256 was not signed with key.pem"

# 2 the seal
signed seal.txt seal.sig || broken "seal.txt was not signed with key.pem"
key=$(openssl pkey -pubin -in key.pem -outform DER | tail -c 32 | od -An -v -tx1 | tr -d ' \n')
tr '\n' '|' < seal.txt | grep -q -x -E 'curewatch seal 2\|block (0|[1-9][0-9]{0,14})\|head [0-9a-f]{64}\|at [-0-9T:.]{23}Z\|reason (day|job-close|record)\|key [0-9a-f]{64}\|' \
    || broken "seal.txt is not the text of a seal"
[ "$key" = "$(awk '$1 == "key" { print $2 }' seal.txt)" ] || broken "seal.txt names another key"

# 3 readings: the lines of each block
tail -n +2 readings.csv | awk -F, -v to="$work/r." '$1 != at { if (at) close(to at); at = $1 } { print >> (to at) }'
digests r readings
tail -n +2 blocks.csv | awk -F, '$8 == "here" && $3 > 0 { print $4 "  " $1 }' | sort -k2,2 > "$work/expected"
cmp -s "$work/readings" "$work/expected" \
    || broken "readings of block $(diff "$work/expected" "$work/readings" | awk '/^[<>]/ { print $3; exit }')"

# 4 entries: each line, and the list of each block
awk -v to="$work/l." '{ match($0, /"number":[0-9]+/); name = to substr($0, RSTART + 9, RLENGTH - 9)
                        ORS = ""; print > name; close(name) }' entries.jsonl
digests l lines
tail -n +2 digests.csv | awk -F, '{ print $5 "  " $2 }' | sort -k2,2 > "$work/listed"
grep -v -x -F -f "$work/listed" "$work/lines" > "$work/strange"
[ ! -s "$work/strange" ] || broken "entry $(awk 'NR == 1 { print $2 }' "$work/strange")"
here=$(awk -F, '$8 == "here" { print $1; exit }' blocks.csv)
awk '{ print $2 }' "$work/lines" > "$work/full"
awk -F, -v here="${here:-999999999999999}" '
    BEGIN { split("daemon dropped health sensor source alert clock configuration gap prune rejected seal sensor-check", k, " ")
            for (n in k) shed[k[n]] = 1 }
    reading_full { full[$1] = 1; next }
    FNR == 1 { next }
    { kind[$2] = $3; owner[$2] = $4; block[$2] = $1; if (($2 in full) && $3 == "job-open" && !($4 in own)) { own[$4] = 1; jobs++ } }
    END { if (jobs != 1) print "of one job: its opening is not here"
          for (n in kind) if (!(n in full) && ((owner[n] in own) || (owner[n] == "-" && (kind[n] in shed) && block[n] + 0 >= here + 0)))
              { print n " (" kind[n] ") is left out"; exit } }' reading_full=1 "$work/full" reading_full=0 digests.csv > "$work/missing"
[ ! -s "$work/missing" ] || broken "entry $(head -n 1 "$work/missing")"
tail -n +2 digests.csv | awk -F, -v to="$work/e." '$1 != at { if (at) close(to at); at = $1 } { print $2 "," $3 "," $4 "," $5 >> (to at) }'
digests e lists
tail -n +2 blocks.csv | awk -F, '$5 > 0 { print $6 "  " $1 }' | sort -k2,2 > "$work/expected"
cmp -s "$work/lists" "$work/expected" \
    || broken "entries of block $(diff "$work/expected" "$work/lists" | awk '/^[<>]/ { print $3; exit }')"

# 5 heads, and that each block follows the one before
tail -n +2 blocks.csv | awk -F, -v to="$work/f." '
    NR > 1 && ($1 != last + 1 || $2 != head) { print "block " $1 " does not follow" > "/dev/stderr"; exit 1 }
    { last = $1; head = $7; name = to $1
      print "curewatch block\nform " $9 "\nnumber " $1 "\nprevious " $2 "\nreadings " $3 " " $4 "\nentries " $5 " " $6 > name
      close(name) }' 2> "$work/order" || broken "$(cat "$work/order")"
digests f faces
tail -n +2 blocks.csv | awk -F, '{ print $7 "  " $1 }' | sort -k2,2 > "$work/expected"
cmp -s "$work/faces" "$work/expected" \
    || broken "head of block $(diff "$work/expected" "$work/faces" | awk '/^[<>]/ { print $3; exit }')"

# 6 the sealed head
sealed=$(awk '$1 == "block" { print $2 }' seal.txt)
[ "$(awk '$1 == "head" { print $2 }' seal.txt)" = "$(awk -F, -v n="$sealed" '$1 == n { print $7 }' blocks.csv)" ] \
    || broken "the seal names another head for block $sealed"
[ "$sealed" = "$(tail -n 1 blocks.csv | cut -d , -f 1)" ] || broken "the chain does not end at the sealed block"

# 7 seal codes: of seal.txt, and of the seals among the entries
cp seal.txt "$work/s.0"
awk -v to="$work/s." '/"kind":"seal","number"/ {
    match($0, /"number":[0-9]+/); name = to substr($0, RSTART + 9, RLENGTH - 9)
    match($0, /"text":"[^"]*"/); text = substr($0, RSTART + 8, RLENGTH - 9); gsub(/\\n/, "\n", text)
    ORS = ""; print text > name; close(name) }' entries.jsonl
for each in "$work"/s.*; do
    grep -q -x "key $key" "$each" || broken "seal ${each##*.} among the entries names another key"
done
digests s seals
awk '{ v = 0; out = ""; digits = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"; bits = 0; left = 1
       for (i = 1; length(out) < 26; i++) { bits = bits * 16 + index("0123456789abcdef", substr($1, i, 1)) - 1; left *= 16
           if (left >= 32) { left /= 32; d = int(bits / left); bits -= d * left
                             out = out substr(digits, d + 1, 1); v = (v * 32 + d) % 1021 } }
       print out substr(digits, int(v / 32) + 1, 1) substr(digits, v % 32 + 1, 1), $2, toupper($1) }' "$work/seals" > "$work/codes"
[ -z "$code" ] || grep -q -e "^$code " -e " $code\$" "$work/codes" || broken "no seal of this record has the code $1"

# 8 what the pages say, as data, is what the chain was told before the seal
told=$(sed -n 's/.*"kind":"account","number":[0-9]*,"payload":{"account":"\([0-9a-f]\{64\}\)".*"pages":"\([0-9a-f]\{64\}\)".*/\1 \2/p' entries.jsonl | tail -n 1)
[ "$told" = "$(sha256sum < account.json | cut -c 1-64) $(sha256sum < pages.json | cut -c 1-64)" ] \
    || broken "account.json or pages.json is not what was sealed"

# 9 all else that stands here: as it was listed and signed; a PDF, by the signature and the files it names
proof=$(sha256sum < files.sha256 | cut -c 1-64)
if [ -e pages.sha256 ] || [ -e pages.sig ]; then
    signed pages.sha256 pages.sig || broken "pages.sha256 was not signed with key.pem"
    grep -q -x "$proof  files.sha256" pages.sha256 || broken "pages.sha256 lists pages of other files"
fi
for page in * .[!.]* ..?*; do
    [ -e "$page" ] || [ -h "$page" ] || continue
    case $page in
        README.txt | check.sh | account.json | pages.json | entries.jsonl | readings.csv | blocks.csv | digests.csv) continue ;;
        seal.txt | seal.sig | key.pem | files.sha256 | files.sig | pages.sha256 | pages.sig) continue ;;
    esac
    [ -f "$page" ] && [ ! -h "$page" ] || broken "$page cannot be checked: it is no file"
    told=""
    case $page in
        record.html | record.pdf) told=$(awk -v name="$page" '$2 == name { print $1 }' pages.sha256 2> /dev/null) ;;
    esac
    [ -z "$told" ] || [ "$told" = "$(sha256sum < "$page" | cut -c 1-64)" ] || broken "$page is not as it was signed"
    if [ "$(head -c 5 "$page")" != "%PDF-" ]; then
        [ -n "$told" ] || broken "$page cannot be checked: no list of this record names it"
        continue
    fi
    sig=$(grep -a -o 'curewatch-signature-[0-9a-f]\{128\}' "$page" | sed 's/.*-//' | sort -u)
    [ "${#sig}" -eq 128 ] || broken "$page carries no signature"
    [ "$(grep -a -o 'curewatch-files-[0-9a-f]\{64\}' "$page" | sort -u)" = "curewatch-files-$proof" ] \
        || broken "$page was not laid out with these files"
    sed "s/$sig/$(printf '%0128d' 0)/g" "$page" > "$work/unsigned"
    [ "$(wc -c < "$work/unsigned")" -eq "$(wc -c < "$page")" ] \
        || { echo "cannot check $page: the sed of this computer spoils binary files"; exit 2; }
    # shellcheck disable=SC2059  # the signature's bytes, written as octal numbers
    printf "$(printf %s "$sig" | awk '{ for (i = 1; i < 128; i += 2) printf "\\%03o", \
        16 * index("123456789abcdef", substr($0, i, 1)) + index("123456789abcdef", substr($0, i + 1, 1)) }')" > "$work/sig"
    signed "$work/unsigned" "$work/sig" || broken "$page as a whole is not as it was signed with key.pem"
done

echo "HOLDS: blocks $(sed -n 2p blocks.csv | cut -d , -f 1) to $sealed, $(($(wc -l < readings.csv) - 1)) readings, $(wc -l < entries.jsonl) entries"
echo "seal code $(awk '$2 == "0" { print $1 }' "$work/codes" | sed 's/..../&-/g; s/-$//')"
echo "key $key"
sha256sum ./* | sed 's|  [.]/|  |; s/^/checked /'
