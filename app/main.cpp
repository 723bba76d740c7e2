// SPDX-License-Identifier: MIT
#include <cstdio>

int main()
{
    std::puts("espalier " ESPALIER_VERSION);
    return 0;
}
