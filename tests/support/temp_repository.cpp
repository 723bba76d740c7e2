// SPDX-License-Identifier: MIT
#include "tests/support/temp_repository.h"

#include <QDir>
#include <QFile>
#include <QFileInfo>
#include <QProcess>
#include <QtTest/QtTest>

#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <sstream>

namespace espalier::test {

namespace {

constexpr const char* person = "Mira Holm <mira@example.org>";

void appendData(QByteArray& stream, const std::string& bytes)
{
    stream += "data " + QByteArray::number(qsizetype(bytes.size())) + '\n';
    stream += QByteArray(bytes.data(), qsizetype(bytes.size()));
    stream += '\n';
}

// fast-import's quoting: C style, every byte that could be special in octal.
QByteArray quoted(std::string_view path)
{
    QByteArray text = "\"";
    char buffer[8];
    for (const char c : path) {
        if (c > ' ' && c != '"' && c != '\\' && c != 0x7f) {
            text += c;
        } else {
            std::snprintf(buffer, sizeof buffer, "\\%03o", static_cast<unsigned char>(c));
            text += buffer;
        }
    }
    return text + '"';
}

void appendFiles(QByteArray& stream, const Files& files)
{
    for (const auto& [name, contents] : files) {
        std::string_view path = name;
        const char* mode = "100644";
        if (path.starts_with("exe:")) {
            mode = "100755";
            path.remove_prefix(4);
        } else if (path.starts_with("link:")) {
            mode = "120000";
            path.remove_prefix(5);
        } else if (path.starts_with("sub:")) {
            stream += "M 160000 " + QByteArray::fromStdString(contents.value()) + ' ' + quoted(path.substr(4)) + '\n';
            continue;
        }
        if (!contents) {
            stream += "D " + quoted(path) + '\n';
            continue;
        }
        stream += QByteArray("M ") + mode + " inline " + quoted(path) + '\n';
        appendData(stream, *contents);
    }
}

void appendCommit(QByteArray& stream, const QByteArray& ref, int mark, long long when, const std::string& message,
                  const std::vector<QByteArray>& parents, const Files& files)
{
    stream += "reset " + ref + "\n";
    stream += "commit " + ref + "\nmark :" + QByteArray::number(mark) + "\n";
    for (const char* role : {"author ", "committer "})
        stream += role + QByteArray(person) + ' ' + QByteArray::number(when) + " +0100\n";
    appendData(stream, message);
    for (std::size_t i = 0; i < parents.size(); ++i)
        stream += (i == 0 ? "from " : "merge ") + parents[i] + '\n';
    appendFiles(stream, files);
    stream += '\n';
}

std::vector<std::string> importStream(const TempRepository& into, const QByteArray& stream, int marks)
{
    const QString marksFile = into.outside() + "/marks";
    into.git({"fast-import", "--quiet", "--force", "--export-marks=" + marksFile}, stream);
    std::vector<std::string> ids(std::size_t(marks) + 1);
    std::ifstream lines(marksFile.toStdString());
    std::string mark, id;
    while (lines >> mark >> id)
        ids.at(std::stoul(mark.substr(1))) = id;
    return ids;
}

} // namespace

QProcessEnvironment cleanEnvironment(const QString& home)
{
    QProcessEnvironment environment;
    environment.insert("PATH", qEnvironmentVariable("PATH"));
    environment.insert("HOME", home);
    // What a build with a sanitizer is told about faults of libraries (tests/CMakeLists.txt).
    for (const char* options : {"LSAN_OPTIONS", "TSAN_OPTIONS"})
        if (qEnvironmentVariableIsSet(options))
            environment.insert(options, qEnvironmentVariable(options));
    environment.insert("LC_ALL", "C.UTF-8");
    environment.insert("TZ", "UTC");
    environment.insert("GIT_CONFIG_NOSYSTEM", "1");
    environment.insert("GIT_CONFIG_GLOBAL", "/dev/null");
    environment.insert("GIT_TERMINAL_PROMPT", "0");
    environment.insert("GIT_EDITOR", "true");
    for (const char* role : {"AUTHOR", "COMMITTER"}) {
        environment.insert(QStringLiteral("GIT_%1_NAME").arg(QLatin1String(role)), "Mira Holm");
        environment.insert(QStringLiteral("GIT_%1_EMAIL").arg(QLatin1String(role)), "mira@example.org");
        environment.insert(QStringLiteral("GIT_%1_DATE").arg(QLatin1String(role)), "1700000000 +0100");
    }
    return environment;
}

GitRun runProgram(const QString& program, const QStringList& arguments, const QString& folder, const QByteArray& input,
                  const std::map<QString, QString>& more)
{
    QProcess process;
    QProcessEnvironment environment = cleanEnvironment(folder);
    for (const auto& [name, value] : more)
        environment.insert(name, value);
    process.setProcessEnvironment(environment);
    process.setWorkingDirectory(folder);
    process.start(program, arguments);
    GitRun run;
    if (!process.waitForStarted()) {
        run.err = process.errorString().toUtf8();
        return run;
    }
    process.write(input);
    process.closeWriteChannel();
    if (!process.waitForFinished(-1) || process.exitStatus() != QProcess::NormalExit)
        run.err = process.errorString().toUtf8() + '\n';
    else
        run.exitCode = process.exitCode();
    run.out = process.readAllStandardOutput();
    run.err += process.readAllStandardError();
    return run;
}

TempRepository::TempRepository(Kind kind, const QStringList& initOptions)
    : m_path(m_folder.path() + (kind == Bare ? "/tidebook.git" : "/tidebook"))
{
    QDir().mkpath(m_path);
    QStringList arguments{"init", "--quiet", "--initial-branch=main", "--template="};
    if (kind == Bare)
        arguments << "--bare";
    git(arguments + initOptions);
}

GitRun TempRepository::tryGit(const QStringList& arguments, const QByteArray& input) const
{
    return runProgram("git", arguments, m_path, input);
}

std::string TempRepository::git(const QStringList& arguments, const QByteArray& input) const
{
    const GitRun run = tryGit(arguments, input);
    if (run.exitCode != 0) {
        const QByteArray words =
            "git " + arguments.join(' ').toUtf8() + " ended with " + QByteArray::number(run.exitCode) + ": " + run.err;
        QTest::qFail(words.constData(), __FILE__, __LINE__);
    }
    std::string text = run.out.toStdString();
    if (text.ends_with('\n'))
        text.pop_back();
    return text;
}

Repository TempRepository::open() const
{
    auto repository = Repository::open(fsPath());
    if (!repository) {
        QTest::qFail(repository.error().line().c_str(), __FILE__, __LINE__);
        std::exit(EXIT_FAILURE);
    }
    return std::move(*repository);
}

std::string TempRepository::commitFiles(const Files& files, const std::string& message,
                                        const std::vector<std::string>& parents, const std::string& branch)
{
    m_clock += 60;
    const QByteArray ref = branch.empty() ? QByteArray("refs/test/none") : QByteArray("refs/heads/") + branch.c_str();
    QByteArray stream;
    std::vector<QByteArray> names;
    for (const std::string& parent : parents)
        names.push_back(QByteArray::fromStdString(parent));
    appendCommit(stream, ref, 1, m_clock, message, names, files);
    if (branch.empty())
        stream += "reset " + ref + "\nfrom " + QByteArray(40, '0') + "\n\n";
    return importStream(*this, stream, 1).at(1);
}

std::string TempRepository::writeRaw(const char* type, const std::string& bytes) const
{
    return git({"hash-object", "-w", "--stdin", "--literally", "-t", type}, QByteArray::fromStdString(bytes));
}

std::string TempRepository::readRaw(const char* type, const std::string& id) const
{
    const GitRun run = tryGit({"cat-file", type, QString::fromStdString(id)});
    if (run.exitCode != 0)
        QTest::qFail(run.err.constData(), __FILE__, __LINE__);
    return run.out.toStdString();
}

void TempRepository::writeFile(const std::string& path, const std::string& contents) const
{
    const std::filesystem::path file = fsPath() / path;
    std::filesystem::create_directories(file.parent_path());
    std::ofstream stream(file, std::ios::binary | std::ios::trunc);
    if (!(stream << contents).flush())
        QTest::qFail(("cannot write " + file.string()).c_str(), __FILE__, __LINE__);
}

std::string TempRepository::readFile(const std::string& path) const
{
    std::ifstream stream(fsPath() / path, std::ios::binary);
    std::ostringstream text;
    text << stream.rdbuf();
    return text.str();
}

int BulkHistory::commit(const std::string& branch, const std::vector<int>& parents, const Files& files,
                        const std::string& message)
{
    std::vector<QByteArray> names;
    for (const int parent : parents)
        names.push_back(":" + QByteArray::number(parent));
    appendCommit(m_stream, QByteArray("refs/heads/") + branch.c_str(), ++m_marks, m_clock += 60, message, names, files);
    return m_marks;
}

std::vector<std::string> BulkHistory::import(const TempRepository& into) const
{
    return importStream(into, m_stream, m_marks);
}

std::map<std::string, std::string> folderState(const std::filesystem::path& folder)
{
    namespace fs = std::filesystem;
    std::map<std::string, std::string> state;
    for (const auto& entry : fs::recursive_directory_iterator(folder)) {
        // What only saves time is no part of a repository's state, and neither is the folder for it.
        const std::string name = entry.path().lexically_relative(folder).string();
        if (name.ends_with("espalier/forecasts") || name.ends_with("espalier/settled-merges") ||
            name == ".git/espalier" || name == "espalier")
            continue;
        std::ostringstream text;
        const fs::file_status status = entry.symlink_status();
        text << int(status.type()) << ' ' << unsigned(status.permissions()) << '\n';
        if (fs::is_symlink(status))
            text << fs::read_symlink(entry.path()).string();
        else if (fs::is_regular_file(status))
            text << std::ifstream(entry.path(), std::ios::binary).rdbuf();
        state[name] = text.str();
    }
    return state;
}

} // namespace espalier::test
