# fish name.fish: the one file that fits a beginning, as fish would insert it,
# evaluated as the line would be, is the file's name.
source ./perdraw.fish
set -l name 'we ird\'"$(touch pwned1)`touch pwned2`;&*?é.db'
touch -- $name
set -l offer (complete --escape -C 'perdraw load --db we' | string replace -r '\t.*' '')
rm -f -- $name
test (count $offer) -eq 1; or exit 1
eval set -l word $offer
test "$word" = "$name"
