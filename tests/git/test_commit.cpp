// SPDX-License-Identifier: MIT
#include "core/git/commit.h"
#include "tests/support/temp_repository.h"

#include <QtTest/QtTest>

using namespace espalier;
using test::TempRepository;

namespace {

const char* const head = "tree 4b825dc642cb6eb9a060e54bf8d69288fbee4904\n"
                         "parent 1111111111111111111111111111111111111111\n";
const char* const people = "author Mira Holm <mira@example.org> 1700000000 +0100\n"
                           "committer Odd Lund <odd@example.org> 1700000060 -0330\n";
const char* const signature =
    "gpgsig -----BEGIN PGP SIGNATURE-----\n \n iQEzBAABCAAdFiEE\n =abcd\n -----END PGP SIGNATURE-----\n";

Commit parsed(const std::string& bytes)
{
    auto commit = parseCommit(hashObject(ObjectType::Commit, bytes), bytes);
    if (!commit)
        qFatal("%s", commit.error().line().c_str());
    return std::move(*commit);
}

} // namespace

class TestCommit : public QObject {
    Q_OBJECT
  private Q_SLOTS:
    void roundTrip_data();
    void roundTrip();
    void parts();
    void people_data();
    void people();
    void changedCommitterIsWritten();
    void messageInUtf8_data();
    void messageInUtf8();
    void damaged_data();
    void damaged();
    void gitAcceptsWhatIsMade();
};

void TestCommit::roundTrip_data()
{
    QTest::addColumn<QByteArray>("bytes");
    const QByteArray start = QByteArray(head) + ::people;
    QTest::newRow("usual") << start + "\nSubject\n\nBody\n";
    QTest::newRow("no line end") << start + "\nSubject";
    QTest::newRow("empty message") << start + "\n";
    QTest::newRow("blank lines kept") << start + "\n\n\n  Subject  \n\n\n";
    QTest::newRow("root") << QByteArray("tree 4b825dc642cb6eb9a060e54bf8d69288fbee4904\n") + ::people + "\nRoot\n";
    QTest::newRow("three parents") << QByteArray(head) + QByteArray(head).mid(46) + QByteArray(head).mid(46) +
                                          ::people + "\nOctopus\n";
    QTest::newRow("encoding") << start + "encoding ISO-8859-1\n\nGr\xfc\xdf"
                                         "e\n";
    QTest::newRow("signed") << start + signature + "\nSigned\n";
    QTest::newRow("encoding, then signed") << start + "encoding latin1\n" + signature + "\nSigned\n";
    QTest::newRow("signed, then encoding") << start + signature + "encoding latin1\n\nSigned\n";
    QTest::newRow("mergetag") << start +
                                     "mergetag object 1111111111111111111111111111111111111111\n type commit\n tag v1\n"
                                     " tagger A <a@b> 1 +0000\n \n Words\n" +
                                     signature + "\nMerge tag v1\n";
    QTest::newRow("foreign headers") << start + "X-rename a:b\nX-extra close=1\n\nElsewhere\n";
    QTest::newRow("author not UTF-8") << QByteArray(head) +
                                             "author J\xf8rgen <j@b> 1 +0000\ncommitter A <a@b> 1 +0000\n\nx\n";
    QTest::newRow("author without date") << QByteArray(head) + "author A <a@b>\ncommitter A <a@b>\n\nx\n";
    QTest::newRow("author without name") << QByteArray(head) + "author <a@b> 1 +0000\ncommitter <> 1 +0000\n\nx\n";
    QTest::newRow("odd spaces") << QByteArray(head) +
                                       "author  A  B  <a@b>  1  +0000\ncommitter A  <a@b> 1 +0000\n\nx\n";
    QTest::newRow("odd zones") << QByteArray(head) + "author A <a@b> 1 +051800\ncommitter A <a@b> 1 -0000\n\nx\n";
    QTest::newRow("before 1970") << QByteArray(head) +
                                        "author A <a@b> -5 +0000\ncommitter A <a@b> 99999999999999 +0000\n\nx\n";
    QTest::newRow("NUL in the message") << start + QByteArray("\na\0b\n", 5);
    QTest::newRow("message like headers") << start + "\nparent of all\n\ntree of life\n";
}

void TestCommit::roundTrip()
{
    QFETCH(QByteArray, bytes);
    const std::string text = bytes.toStdString();
    QCOMPARE(QByteArray::fromStdString(formatCommit(parsed(text))), bytes);
}

void TestCommit::parts()
{
    const Commit commit =
        parsed(std::string(head) + ::people + "encoding latin1\n" + signature + "\nSubject\nfolded\n\nBody\n");
    QCOMPARE(commit.tree.hex(), std::string(emptyTreeHex));
    QCOMPARE(commit.parents, std::vector{*Oid::parse(std::string(40, '1'))});
    QCOMPARE(commit.author, (Person{"Mira Holm", "mira@example.org", 1700000000, 60}));
    QCOMPARE(commit.committer, (Person{"Odd Lund", "odd@example.org", 1700000060, -210}));
    QCOMPARE(commit.encoding(), "latin1");
    QVERIFY(commit.isSigned);
    QCOMPARE(commit.otherHeaders.size(), std::size_t(1));
    QCOMPARE(commit.otherHeaders[0].second,
             "-----BEGIN PGP SIGNATURE-----\n\niQEzBAABCAAdFiEE\n=abcd\n-----END PGP SIGNATURE-----");
    QCOMPARE(commit.message, "Subject\nfolded\n\nBody\n");
    QCOMPARE(commit.subject(), "Subject folded");
}

void TestCommit::people_data()
{
    QTest::addColumn<QByteArray>("line");
    QTest::newRow("usual") << QByteArray("Mira Holm <mira@example.org> 1700000000 +0100");
    QTest::newRow("half hours west") << QByteArray("A <a@b> 1700000000 -0330");
    QTest::newRow("no name") << QByteArray("<a@b> 1 +0000");
    QTest::newRow("brackets in the name") << QByteArray("A > B <a@b> 1 +0000");
    QTest::newRow("empty address") << QByteArray("A <> 1 +0000");
    QTest::newRow("no date") << QByteArray("A <a@b>");
}

// Reference: git's own reading of the author line.
void TestCommit::people()
{
    QFETCH(QByteArray, line);
    static TempRepository repo;
    static const std::string tree = repo.git({"mktree"});
    const std::string text = "tree " + tree + "\nauthor " + line.toStdString() + "\ncommitter A <a@b> 1 +0000\n\nx\n";
    const std::string id = repo.writeRaw("commit", text);
    const Person author = parsed(text).author;
    QCOMPARE(author.name + "|" + author.email, repo.git({"log", "-1", "--format=%an|%ae", QString::fromStdString(id)}));
    const std::string when = repo.git({"log", "-1", "--format=%at", QString::fromStdString(id)});
    QCOMPARE(std::to_string(author.when), when.empty() ? "0" : when);
}

void TestCommit::changedCommitterIsWritten()
{
    Commit commit = parsed(std::string(head) + ::people + "\nx\n");
    commit.committer.when += 5;
    QVERIFY(formatCommit(commit).contains("\ncommitter Odd Lund <odd@example.org> 1700000065 -0330\n"));
    commit.committer = {"", "a@b", 7, 0};
    QVERIFY(formatCommit(commit).contains("\ncommitter <a@b> 7 +0000\n"));
    QVERIFY(formatCommit(commit).contains("\nauthor Mira Holm <mira@example.org> 1700000000 +0100\n"));
}

void TestCommit::messageInUtf8_data()
{
    QTest::addColumn<QByteArray>("encoding");
    QTest::addColumn<QByteArray>("message");
    QTest::addColumn<QByteArray>("shown");
    QTest::newRow("none") << QByteArray() << QByteArray("Größe") << QByteArray("Größe");
    QTest::newRow("Latin-1") << QByteArray("ISO-8859-1")
                             << QByteArray("Gr\xf6\xdf"
                                           "e")
                             << QByteArray("Größe");
    QTest::newRow("Latin-1 that happens to be UTF-8")
        << QByteArray("latin1") << QByteArray("\xc3\xa9") << QByteArray("Ã©");
    QTest::newRow("shifted") << QByteArray("ISO-2022-JP") << QByteArray("\x1b$BLZ\x1b(B") << QByteArray("木");
    QTest::newRow("UTF-8 by name") << QByteArray("utf8") << QByteArray("Größe") << QByteArray("Größe");
    QTest::newRow("unknown") << QByteArray("klingon") << QByteArray("a\xff") << QByteArray("a\xff");
    QTest::newRow("a path is no charset") << QByteArray("../../x") << QByteArray("a\xff") << QByteArray("a\xff");
    QTest::newRow("does not convert") << QByteArray("UTF-16") << QByteArray("abc") << QByteArray("abc");
}

void TestCommit::messageInUtf8()
{
    QFETCH(QByteArray, encoding);
    QFETCH(QByteArray, message);
    QFETCH(QByteArray, shown);
    const std::string header = encoding.isEmpty() ? "" : "encoding " + encoding.toStdString() + "\n";
    const Commit commit = parsed(std::string(head) + ::people + header + "\n" + message.toStdString());
    QCOMPARE(QByteArray::fromStdString(commit.messageUtf8()), shown);
}

void TestCommit::damaged_data()
{
    QTest::addColumn<QByteArray>("bytes");
    QTest::newRow("nothing") << QByteArray();
    QTest::newRow("no tree") << QByteArray(::people) + "\nx\n";
    QTest::newRow("cut tree") << QByteArray("tree 4b82\n") + ::people + "\nx\n";
    QTest::newRow("cut parent") << QByteArray("tree 4b825dc642cb6eb9a060e54bf8d69288fbee4904\nparent 11\n") + ::people +
                                       "\nx\n";
    QTest::newRow("noise") << QByteArray(100, '\xff');
}

void TestCommit::damaged()
{
    QFETCH(QByteArray, bytes);
    const Oid id = *Oid::parse("2222222222222222222222222222222222222222");
    const auto commit = parseCommit(id, bytes.toStdString());
    QVERIFY(!commit);
    QCOMPARE(commit.error().kind, ErrorKind::Broken);
    QCOMPARE(commit.error().on, id.hex());
}

// Reference: git fsck --strict, and git's reading of what was made.
void TestCommit::gitAcceptsWhatIsMade()
{
    TempRepository repo;
    Commit commit;
    commit.tree = *Oid::parse(repo.git({"mktree"}));
    commit.author = {"Mira Holm", "mira@example.org", 1700000000, 345};
    commit.committer = {"Mira Holm", "mira@example.org", 1700000001, -720};
    commit.message = "Subject\n\nBody\n";
    commit.otherHeaders = {{"note", "two\n\nlines"}};
    const std::string id = repo.writeRaw("commit", formatCommit(commit));
    repo.git({"update-ref", "refs/heads/main", QString::fromStdString(id)});
    QCOMPARE(repo.tryGit({"fsck", "--strict"}).exitCode, 0);
    QCOMPARE(repo.git({"log", "-1", "--format=%ai|%ci|%B"}),
             "2023-11-15 03:58:20 +0545|2023-11-14 10:13:21 -1200|Subject\n\nBody\n");
}

QTEST_GUILESS_MAIN(TestCommit)
#include "test_commit.moc"
