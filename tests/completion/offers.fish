# fish offers.fish LINES: what fish offers for each line, into fish.1 ...
source ./perdraw.fish
set -l i 0
while read -l -d \n text
	set i (math $i + 1)
	complete -C "$text" | string replace -r '\t.*' '' | LC_ALL=C sort -u >fish.$i
end <$argv[1]
exit 0
