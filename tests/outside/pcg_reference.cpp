// The generator against O'Neill's own pcg64 (libpcg-cpp-dev), bit for bit.
#include <pcg_random.hpp>

#include <cstdio>

// Both call their type pcg64.
namespace own
{
extern "C" {
#include "draw/pcg.h"
}
} // namespace own

using own::uint128;

namespace
{

constexpr int outputs = 100000;

bool equal_outputs(pcg64 &theirs, own::pcg64 &ours, int count)
{
    for (int i = 0; i < count; i++)
        if (theirs() != own::pcg64_next(&ours))
            return false;
    return true;
}

bool equal_after_jump(pcg64 &theirs, own::pcg64 &ours, uint128 count)
{
    theirs.advance(count);
    own::pcg64_jump(&ours, count);
    return equal_outputs(theirs, ours, 10);
}

} // namespace

int main()
{
    const uint128 wide = static_cast<uint128>(0x0123456789abcdefu) << 64 | 0xfedcba9876543210u;
    const uint128 seeds[] = {0, 42, wide, ~static_cast<uint128>(0)};
    const uint128 streams[] = {0, 54, ~wide, wide >> 1};
    const uint128 jumps[] = {0,
                             1,
                             1000003,
                             static_cast<uint128>(1) << 64,
                             wide,
                             ~wide + 1,
                             -static_cast<uint128>(12345)};
    int wrong = 0;
    for (uint128 seed : seeds)
        for (uint128 stream : streams) {
            pcg64 theirs(seed, stream);
            own::pcg64 ours;
            own::pcg64_seed(&ours, seed, stream);
            bool equal = equal_outputs(theirs, ours, outputs);
            for (uint128 jump : jumps)
                equal = equal_after_jump(theirs, ours, jump) && equal;
            if (!equal) {
                std::fprintf(stderr, "outputs differ for seed ...%016llx, stream ...%016llx\n",
                             static_cast<unsigned long long>(seed),
                             static_cast<unsigned long long>(stream));
                wrong++;
            }
        }
    return wrong == 0 ? 0 : 1;
}
