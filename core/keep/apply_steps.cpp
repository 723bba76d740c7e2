// SPDX-License-Identifier: MIT
#include "core/keep/apply_steps.h"

namespace espalier {

namespace {
std::function<void(ApplyStep)>& callbackSlot()
{
    static std::function<void(ApplyStep)> slot;
    return slot;
}
} // namespace

void setApplyStepCallback(std::function<void(ApplyStep)> callback) { callbackSlot() = std::move(callback); }

void passApplyStep(ApplyStep step)
{
    if (const auto& callback = callbackSlot())
        callback(step);
}

} // namespace espalier
