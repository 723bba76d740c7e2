// SPDX-License-Identifier: MIT
#include "core/git/objects.h"

#include <QtTest/QtTest>

#include <unordered_set>

using namespace espalier;

class TestOid : public QObject {
    Q_OBJECT
  private Q_SLOTS:
    void parse_data();
    void parse();
    void roundTrip();
    void order();
    void wellKnown();
};

void TestOid::parse_data()
{
    QTest::addColumn<QString>("text");
    QTest::addColumn<bool>("valid");
    QTest::newRow("lower case") << "4b825dc642cb6eb9a060e54bf8d69288fbee4904" << true;
    QTest::newRow("upper case") << "4B825DC642CB6EB9A060E54BF8D69288FBEE4904" << true;
    QTest::newRow("39 digits") << "4b825dc642cb6eb9a060e54bf8d69288fbee490" << false;
    QTest::newRow("41 digits") << "4b825dc642cb6eb9a060e54bf8d69288fbee49040" << false;
    QTest::newRow("SHA-256") << QString(64, 'a') << false;
    QTest::newRow("not a digit") << "4b825dc642cb6eb9a060e54bf8d69288fbee490g" << false;
    QTest::newRow("a sign") << "-b825dc642cb6eb9a060e54bf8d69288fbee4904" << false;
    QTest::newRow("empty") << "" << false;
}

void TestOid::parse()
{
    QFETCH(QString, text);
    QFETCH(bool, valid);
    const auto id = Oid::parse(text.toStdString());
    QCOMPARE(id.has_value(), valid);
    if (id)
        QCOMPARE(id->hex(), text.toLower().toStdString());
}

void TestOid::roundTrip()
{
    Oid id;
    QVERIFY(id.isZero());
    QCOMPARE(id.hex(), std::string(40, '0'));
    for (std::size_t i = 0; i < 20; ++i)
        id.bytes[i] = static_cast<std::uint8_t>(i * 13 + 7);
    QVERIFY(!id.isZero());
    QCOMPARE(Oid::parse(id.hex()), std::optional(id));
    QCOMPARE(Oid::fromRaw(id.bytes.data()), id);
    QCOMPARE(id.brief(), id.hex().substr(0, 7));
}

void TestOid::order()
{
    // Ids sort as their digits do, which sorted tables on disk rely on.
    const Oid low = *Oid::parse("7f00000000000000000000000000000000000000");
    const Oid high = *Oid::parse("8000000000000000000000000000000000000000");
    QVERIFY(low < high);
    QVERIFY(Oid{} < low);
    const std::unordered_set<Oid> set{low, high, low};
    QCOMPARE(set.size(), std::size_t(2));
}

void TestOid::wellKnown()
{
    QCOMPARE(hashObject(ObjectType::Tree, "").hex(), std::string(emptyTreeHex));
    QCOMPARE(hashObject(ObjectType::Blob, "").hex(), std::string(emptyBlobHex));
}

QTEST_GUILESS_MAIN(TestOid)
#include "test_oid.moc"
