// SPDX-License-Identifier: MIT
//
// Whether a folder is there and holds anything, asked off the GUI thread: a disk, and more so a network's, may take its time.
//
//     question.ask(folder->text(), [&](bool isTaken) { … });
#pragma once

#include "app/support/text.h"
#include "app/support/work.h"

#include <filesystem>
#include <functional>

namespace espalier {

class FolderQuestion : public QObject {
  public:
    using QObject::QObject;

    // The answer comes once, and only for the newest question.
    void ask(const QString& folder, std::function<void(bool isTaken)> answer)
    {
        if (m_work)
            m_work->cancel();
        const int asked = ++m_asked;
        m_work = startWork<bool>(
            this, tr("Looking at the folder"),
            [folder = std::filesystem::path(toBytes(folder))](const Progress&) -> Result<bool> {
                std::error_code error;
                return std::filesystem::exists(folder, error) && !std::filesystem::is_empty(folder, error) && !error;
            },
            [this, asked, answer = std::move(answer)](const Result<bool>& taken) {
                if (asked == m_asked)
                    answer(taken.value_or(false));
            },
            WorkPriority::Background);
    }

  private:
    QPointer<Work> m_work;
    int m_asked = 0;
};

} // namespace espalier
