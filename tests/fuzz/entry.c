/* entry.c - one target under the fuzzer: -DFUZZ_TARGET=fuzz_plan ... */
#include "targets.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	return FUZZ_TARGET(data, size);
}
